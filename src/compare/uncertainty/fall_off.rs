//! A lens darkens its picture towards the corners, and a render does not.
//!
//! The photographed sphere is darker than the light at its place by what the lens takes there. A CG that is to sit in the plate as it
//! was shot has to lose as much, in the render or in the composite; which of the two it does, and how much the lens takes, is not
//! seen in the two spheres.

use crate::compare::sphere_measurement::SphereMeasurement;

/// How much darker a corner of the picture is than its centre where nothing tells it, stops, one sd about a picture that is even. Lenses
/// in use take 0.2 stop stopped down and 1 to 2 wide open (common practice, no source).
const UNKNOWN_CORNER_STOPS: f64 = 0.5;

/// The corner of a picture of 16:9 lies this much farther from its centre than the middle of its side.
const CORNER_OVER_SIDE: f64 = 1.147;

/// One sd in stops of the photographed sphere's brightness against its place's light. Fall-off grows about with the square of the
/// distance from the optical axis, as the cosine to the fourth does for small angles.
pub(crate) fn sd_stops(mirror: &SphereMeasurement, corner_stops: Option<f64>) -> f64 {
    let (view, outline) = (&mirror.view, &mirror.fit.outline);
    let across = outline.centre_x - view.centre_px[0];
    let down = (outline.centre_y - view.centre_px[1]) / view.pixel_aspect;
    let corner_px = CORNER_OVER_SIDE * view.half_width_px;
    corner_stops.unwrap_or(UNKNOWN_CORNER_STOPS) * part_of_corner(across.hypot(down) / corner_px)
}

/// Fall-off at a distance from the axis (1 = the corner), in parts of the corner's.
fn part_of_corner(distance: f64) -> f64 {
    distance.min(1.0).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The law that is used against the cosine to the fourth, which an ideal lens follows (from memory): over the pictures of lenses in use
    /// both grow alike from the axis to the corner, so that the corner alone has to be told.
    #[test]
    fn the_square_of_the_distance_stands_for_the_cosine_to_the_fourth() {
        for corner_deg in [5.0_f64, 15.0, 25.0, 35.0] {
            let corner = corner_deg.to_radians().tan();
            let natural = |part: f64| -4.0 * (part * corner).atan().cos().log2();
            for part in [0.2, 0.5, 0.8] {
                let apart = (natural(part) / natural(1.0) - part_of_corner(part)).abs();
                assert!(apart < 0.08, "{corner_deg} deg, {part}: {apart}");
            }
        }
    }
}
