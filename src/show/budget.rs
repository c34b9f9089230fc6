//! Memory that the shots in work share.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// Memory shared out to shots in the order in which they ask, so that none waits for ever.
#[derive(Debug)]
pub struct MemoryBudget {
    total: u64,
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    used: u64,
    /// The next ticket to be given out, and the one whose turn it is.
    next: u64,
    turn: u64,
}

/// A share of the budget; dropping it gives it back.
#[derive(Debug)]
pub struct Claim<'a> {
    budget: &'a MemoryBudget,
    bytes: u64,
}

impl MemoryBudget {
    /// A budget of so many bytes.
    pub fn new(total: u64) -> Self {
        Self { total, state: Mutex::default(), changed: Condvar::new() }
    }

    /// Waits until `bytes` are free; `None` where there are fewer in all.
    pub fn take(&self, bytes: u64) -> Option<Claim<'_>> {
        if bytes > self.total {
            return None;
        }
        let mut state = self.lock();
        let ticket = state.next;
        state.next += 1;
        while state.turn != ticket || state.used.saturating_add(bytes) > self.total {
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.turn += 1;
        state.used += bytes;
        drop(state);
        self.changed.notify_all();
        Some(Claim { budget: self, bytes })
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // The two numbers are never left half changed, so a panic elsewhere does no harm to them.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Claim<'_> {
    fn drop(&mut self) {
        self.budget.lock().used -= self.bytes;
        self.budget.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU64, Ordering};

    use super::*;

    #[test]
    fn no_more_is_out_than_there_is_and_everyone_gets_a_turn() {
        let budget = MemoryBudget::new(100);
        let (out, most, served) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for worker in 0..4 {
                let (budget, out, most, served) = (&budget, &out, &most, &served);
                scope.spawn(move || {
                    for round in 0..50 {
                        let bytes = [10, 35, 60, 100][(worker + round) % 4];
                        let claim = budget.take(bytes).unwrap();
                        let now = out.fetch_add(bytes, Ordering::SeqCst) + bytes;
                        most.fetch_max(now, Ordering::SeqCst);
                        served.fetch_add(1, Ordering::SeqCst);
                        out.fetch_sub(bytes, Ordering::SeqCst);
                        drop(claim);
                    }
                });
            }
        });
        assert_eq!(served.into_inner(), 200);
        assert!(most.into_inner() <= 100);
    }

    #[test]
    fn what_is_more_than_there_is_gets_nothing() {
        let budget = MemoryBudget::new(100);
        assert!(budget.take(101).is_none());
        assert!(budget.take(100).is_some(), "nobody waits behind what was refused");
    }
}
