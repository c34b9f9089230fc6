//! The recording's ceiling.

/// Rounding of a stored ceiling: half floats keep 11 bits, and sheets round as well.
const STORED_PRECISION: f32 = 1.0 / 1024.0;

/// Lossy 8-bit pictures ring by a few codes about their ceiling: from code 252 on, as linear light.
const LOSSY_CEILING: f32 = 0.974;

/// The level per channel from which a recorded value is at its ceiling, a little below where the ceiling is stated:
/// a value just above the rounded ceiling does not exist, and one just below it would count as light.
pub fn recorded_ceiling(stated: [f32; 3], format: &str) -> [f32; 3] {
    let factor = if format == "jpeg" { LOSSY_CEILING } else { 1.0 - STORED_PRECISION };
    stated.map(|level| level * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ceiling_rounded_to_half_float_is_still_reached() {
        for level in [1.0_f32, 12.3457, 23.456_789, 57.891] {
            let stored = half::f16::from_f32(level).to_f32();
            assert!(stored >= recorded_ceiling([level; 3], "exr")[0]);
            assert!(0.99 * level < recorded_ceiling([level; 3], "exr")[0]);
        }
    }
}
