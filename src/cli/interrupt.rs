//! Stopping when the person asks: the first Ctrl-C lets the shots in work come to their end, the second does not.

use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};

use super::console::Console;
use super::exit::ExitStatus;

static ASKED: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C, and the signals by which a system asks a process to end, are heard.
pub(super) fn listen() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // Where no handler can be set the signal ends the process at once, as it does by default.
        drop(ctrlc::set_handler(asked_to_stop));
    });
}

/// The person wants to stop: no further shot is begun.
pub(super) fn stopping() -> bool {
    ASKED.load(Ordering::SeqCst)
}

fn asked_to_stop() {
    if ASKED.swap(true, Ordering::SeqCst) {
        #[allow(
            clippy::exit,
            reason = "asked twice: whole files are renamed into place, so nothing half-written stays"
        )]
        std::process::exit(i32::from(ExitStatus::Interrupted.number()));
    }
    Console::remark("plateproof: stopping when the shots in progress are done; press again to stop at once");
}
