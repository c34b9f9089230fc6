//! Memory that the shots in work share.

use std::fs;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// Taken where the system does not say how much memory it has.
const UNKNOWN_MACHINE_BYTES: u64 = 8 << 30;

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

    /// Waits until `bytes` are free. A shot that needs more than there is gets all of it, and so runs alone.
    pub fn take(&self, bytes: u64) -> Claim<'_> {
        let bytes = bytes.min(self.total);
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
        Claim { budget: self, bytes }
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

/// Half of what the machine, or the group of processes that this one is confined to, has.
pub fn default_budget_bytes() -> u64 {
    let machine = fs::read_to_string("/proc/meminfo").ok().and_then(|text| total_of_meminfo(&text));
    let group = fs::read_to_string("/sys/fs/cgroup/memory.max").ok().and_then(|text| text.trim().parse().ok());
    let known: Option<u64> = machine.into_iter().chain(group).min();
    known.unwrap_or(UNKNOWN_MACHINE_BYTES) / 2
}

/// `MemTotal` of `/proc/meminfo`, in bytes.
fn total_of_meminfo(text: &str) -> Option<u64> {
    let line = text.lines().find_map(|line| line.strip_prefix("MemTotal:"))?;
    line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()?.checked_mul(1024)
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
                        let bytes = [10, 35, 60, 1000][(worker + round) % 4];
                        let claim = budget.take(bytes);
                        let now = out.fetch_add(bytes.min(100), Ordering::SeqCst) + bytes.min(100);
                        most.fetch_max(now, Ordering::SeqCst);
                        served.fetch_add(1, Ordering::SeqCst);
                        out.fetch_sub(bytes.min(100), Ordering::SeqCst);
                        drop(claim);
                    }
                });
            }
        });
        assert_eq!(served.into_inner(), 200);
        assert!(most.into_inner() <= 100);
    }

    #[test]
    fn the_machine_says_how_much_it_has() {
        assert_eq!(total_of_meminfo("MemTotal:       16316412 kB\nMemFree: 1 kB\n"), Some(16_316_412 * 1024));
        assert_eq!(total_of_meminfo("nonsense"), None);
        assert!(default_budget_bytes() > 1 << 20);
    }
}
