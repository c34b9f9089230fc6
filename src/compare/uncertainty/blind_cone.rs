//! Directions that no pixel shows: behind the sphere, or cut off by the frame.

use crate::light::radiance::PatchLight;

/// Directions filled in from their neighbours may be off by this factor, stops (real surroundings vary by more than a
/// factor of two from one side of a gap to the other; common practice, no source).
pub const FILL_SD_STOPS: f64 = 0.7;

/// What filled-in directions add to a patch's illuminance, one sd in stops.
pub fn patch_sd_stops(patch: &PatchLight) -> f64 {
    FILL_SD_STOPS * filled_part(patch)
}

/// Part of a patch's illuminance that is filled in.
pub fn filled_part(patch: &PatchLight) -> f64 {
    (patch.filled / patch.luminance.max(1e-30)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patch_lit_by_guesses_alone_is_uncertain_by_their_factor() {
        let patch = PatchLight { luminance: 2.0, filled: 2.0, clipped: 0.0 };
        approx::assert_relative_eq!(patch_sd_stops(&patch), FILL_SD_STOPS);
        approx::assert_relative_eq!(patch_sd_stops(&PatchLight { filled: 0.0, ..patch }), 0.0);
    }
}
