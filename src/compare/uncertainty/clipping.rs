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

/// Width over which the lens blurs the rim of a clipped area before the recording clips it, px (measured on made-up
/// shots).
const BLURRED_RIM_PX: f64 = 0.6;

/// The CG is sharp where the photograph was blurred before it clipped, so that limiting the CG takes too much or too
/// little of its light along the rim of the clipped area. `effect_stops` is all that limiting does, `clipped_px` the
/// clipped pixels of the photographed sphere in `areas` places; the rim's share of discs of that size is uncertain.
pub fn equal_terms_sd_stops(effect_stops: f64, clipped_px: f64, areas: usize) -> f64 {
    let radius_px = (clipped_px.max(0.0) / areas.max(1) as f64 / std::f64::consts::PI).sqrt();
    effect_stops.abs() * (2.0 * BLURRED_RIM_PX / radius_px.max(1e-9)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_clipped_area_is_limited_well_and_a_small_one_not() {
        assert!(equal_terms_sd_stops(2.0, 3.0, 1) > 1.9);
        assert!(equal_terms_sd_stops(2.0, 30_000.0, 1) < 0.05);
        assert!(equal_terms_sd_stops(0.0, 3.0, 1) < 1e-12);
    }

    #[test]
    fn many_small_clipped_areas_are_all_rim_where_one_of_their_sum_is_not() {
        let one = equal_terms_sd_stops(1.0, 270.0, 1);
        let nine = equal_terms_sd_stops(1.0, 270.0, 9);
        assert!((nine / one - 3.0).abs() < 1e-9, "{one} {nine}");
    }

    #[test]
    fn a_ceiling_rounded_to_half_float_is_still_reached() {
        for level in [1.0_f32, 12.3457, 23.456_789, 57.891] {
            let stored = half::f16::from_f32(level).to_f32();
            assert!(stored >= recorded_ceiling([level; 3], "exr")[0]);
            assert!(0.99 * level < recorded_ceiling([level; 3], "exr")[0]);
        }
    }
}
