//! A round outline unrolled: all of its inside, and a little beyond the rim.

use crate::image::Frame;
use crate::optics::camera::View;
use crate::sphere::find::flat::Circle;
use crate::sphere::find::unrolled::unrolled;

/// Distances from the centre, innermost first.
pub(super) const RINGS: usize = 32;
/// Those of them that lie inside the outline.
const INNER_RINGS: usize = 24;
/// Fractions of the radius between which the inner and the outer rings lie.
const INSIDE: [f64; 2] = [0.04, 0.99];
const OUTSIDE: [f64; 2] = [1.01, 1.5];

/// The frame shows at least this part of it.
const LEAST_SHOWN: f64 = 0.5;

/// Planes by rings by spokes; `None` where the frame shows too little of it.
pub(super) fn patch(frame: &Frame, view: &View, circle: &Circle) -> Option<Vec<f32>> {
    let rings: Vec<[f64; 2]> = (0..RINGS).map(ring).collect();
    unrolled(frame, view, circle, &rings, LEAST_SHOWN)
}

/// Bounds of a ring, fractions of the radius.
fn ring(index: usize) -> [f64; 2] {
    let (range, step, count) = if index < INNER_RINGS {
        (INSIDE, index, INNER_RINGS)
    } else {
        (OUTSIDE, index - INNER_RINGS, RINGS - INNER_RINGS)
    };
    let width = (range[1] - range[0]) / count as f64;
    [range[0] + width * step as f64, range[0] + width * (step + 1) as f64]
}
