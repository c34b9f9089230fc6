use proptest::prelude::*;

use super::*;

/// How far `encode(decode(code))` may be off, in code: the gap that a curve's printed constants leave at its cut.
fn join_gap(encoding: Encoding) -> f64 {
    match encoding {
        // ITU-R BT.709 prints 1.099 and 0.018 to three digits.
        Encoding::Bt709 => 3e-4,
        // Six printed digits or fewer.
        _ => 3e-5,
    }
}

fn any_encoding() -> impl Strategy<Value = Encoding> {
    prop::sample::select(Encoding::ALL)
}
