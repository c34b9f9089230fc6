//! Panics of the decoding libraries become errors.
//!
//! The decoders are other people's code fed with files from outside; fuzzers keep finding inputs on which such code
//! indexes out of bounds or overflows. A broken file must cost its user one shot, not the run, so as a last resort
//! after our own checks a panic inside a decoder is caught here. Only decoding runs under it, on data that is thrown
//! away afterwards, so no half-changed state survives.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    /// This thread is inside [`contain`]: its panic is reported as an error, not on stderr.
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// Runs a decoder; a panic inside becomes the error text.
pub(super) fn contain<T>(decode: impl FnOnce() -> T) -> Result<T, String> {
    install_quiet_hook();
    let outer = CONTAINED.replace(true);
    let outcome = catch_unwind(AssertUnwindSafe(decode));
    CONTAINED.set(outer);
    outcome.map_err(|payload| {
        let text = payload.downcast_ref::<String>().map(String::as_str);
        text.or_else(|| payload.downcast_ref::<&str>().copied()).unwrap_or("the decoder stopped").to_owned()
    })
}

/// The same for a decoder that shares its work between threads: it gets some of its own, on which panics are silent as well.
#[cfg(feature = "raw")]
pub(super) fn contain_on_own_threads<T: Send>(decode: impl FnOnce() -> T + Send) -> Result<T, String> {
    let threads = rayon::ThreadPoolBuilder::new()
        .num_threads(crate::base::parallel::cores())
        .start_handler(|_| CONTAINED.set(true))
        .build()
        .map_err(|error| error.to_string())?;
    contain(|| threads.install(decode))
}

/// Puts a hook in front of the present one that stays silent for contained panics; once per process.
fn install_quiet_hook() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let previous = take_hook();
        set_hook(Box::new(move |info| {
            if !CONTAINED.get() {
                previous(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_text_and_a_value_passes() {
        assert_eq!(contain(|| 7), Ok(7));
        assert_eq!(contain(|| -> u8 { panic!("tide out") }), Err("tide out".to_owned()));
        assert!(!CONTAINED.get());
    }
}
