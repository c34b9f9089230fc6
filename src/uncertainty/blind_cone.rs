//! Directions that no pixel shows: behind the sphere, cut off by the frame, or hidden by what stands before it.

use std::f64::consts::{LN_2, TAU};

use crate::radiance::PatchLight;
use crate::side::Side;

/// Directions filled in from their neighbours may be off by this factor, stops (real surroundings vary by more than a
/// factor of two from one side of a gap to the other; common practice, no source).
pub const FILL_SD_STOPS: f64 = 0.7;

/// What filled-in directions add to a patch's illuminance, one sd in stops.
pub fn patch_sd_stops(patch: &PatchLight) -> f64 {
    FILL_SD_STOPS * (patch.filled / patch.luminance.max(1e-30)).clamp(0.0, 1.0)
}

/// Fraction of the sphere's picture that may show something in front of it. Where the outline shows no edge over a
/// fraction u of its length, a straight edge there would hide the segment (2πu − sin 2πu) / 2π of the disc; the mirror's
/// picture is nearly true to area, so that fraction of all directions.
pub fn hidden_fraction(side: &Side) -> f64 {
    let arc = TAU * side.fit.unseen_fraction.clamp(0.0, 1.0);
    ((arc - arc.sin()) / TAU).clamp(0.0, 1.0)
}

/// What hidden directions, dark or bright in place of the surroundings, do to the illuminance of a patch, stops: it
/// changes by about the fraction that is hidden.
pub fn hidden_sd_stops(side: &Side) -> f64 {
    hidden_fraction(side) / LN_2
}

/// Surroundings differ in colour from one side to another by about this much, stops (sky against ground, lamps against
/// sky; common practice, no source).
const SIDES_DIFFER_STOPS: f64 = 0.3;

/// What hidden directions do to a channel of the mean light, stops.
pub fn hidden_channel_sd_stops(side: &Side) -> f64 {
    SIDES_DIFFER_STOPS * hidden_fraction(side)
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
