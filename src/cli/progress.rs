//! Progress on standard error, only where a person waits for longer than half a second.

use std::fmt::Write;
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::time::Duration;

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

/// Work that ends sooner shows nothing.
const PATIENCE: Duration = Duration::from_millis(500);

/// How often the sign of life moves.
const TICK: Duration = Duration::from_millis(120);

/// A line that says what is being done; it disappears when the last of its handles is dropped.
#[derive(Debug, Clone)]
pub(super) struct Progress {
    bar: ProgressBar,
    _over: Arc<Over>,
}

impl Progress {
    /// Starts; `watched` = a person watches standard error.
    pub(super) fn start(watched: bool) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden()).with_style(style());
        let (over, wait) = mpsc::channel::<()>();
        if watched {
            let late = bar.clone();
            std::thread::spawn(move || {
                if wait.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout) {
                    late.set_draw_target(ProgressDrawTarget::stderr());
                    late.enable_steady_tick(TICK);
                }
            });
        }
        let over = Arc::new(Over { bar: bar.clone(), _told: over });
        Self { bar, _over: over }
    }

    /// Counts so many pieces of work, and says how long the rest will take.
    pub(super) fn over(self, count: usize) -> Self {
        if count > 1 {
            self.bar.set_length(count as u64);
            self.bar.set_style(counting_style());
        }
        self
    }

    /// One piece of work is done.
    pub(super) fn step(&self) {
        self.bar.inc(1);
    }

    /// Says what is being done now.
    pub(super) fn say(&self, what: &str) {
        self.bar.set_message(crate::printable_text(what));
    }

    /// Does something that prints, with the line out of the way.
    pub(super) fn aside<T>(&self, print: impl FnOnce() -> T) -> T {
        self.bar.suspend(print)
    }
}

/// The end of the work.
#[derive(Debug)]
struct Over {
    bar: ProgressBar,
    /// Dropping it tells the waiting thread.
    _told: Sender<()>,
}

impl Drop for Over {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

fn counting_style() -> ProgressStyle {
    let template = "{spinner} {bar:24} {pos} of {len}  {wide_msg} {remaining}";
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    style.with_key("remaining", |state: &ProgressState, out: &mut dyn Write| {
        // Before the first shot is done nobody knows; the bar draws on when writing fails.
        if state.pos() > 0 {
            let _ = write!(out, "{:#} left", HumanDuration(state.eta()));
        }
    })
}

fn style() -> ProgressStyle {
    ProgressStyle::with_template("{spinner} {wide_msg} {elapsed}").unwrap_or_else(|_| ProgressStyle::default_spinner())
}
