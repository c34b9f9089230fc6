//! A round outline unrolled: brightness and colour by angle and by distance from the centre, a little beyond the rim.

use std::f64::consts::TAU;

use crate::image::Frame;
use crate::optics::camera::View;
use crate::sphere::find::flat::{Circle, to_frame};

/// Distances from the centre, innermost first.
pub(super) const RINGS: usize = 32;
/// Those of them that lie inside the outline.
const INNER_RINGS: usize = 24;
/// Angles.
pub(super) const SPOKES: usize = 64;
/// Brightness, two differences of colour, and whether the frame shows the place.
pub(super) const PLANES: usize = 4;
/// Fractions of the radius between which the inner and the outer rings lie.
const INSIDE: [f64; 2] = [0.04, 0.99];
const OUTSIDE: [f64; 2] = [1.01, 1.5];
/// Samples across a cell, each way.
const ACROSS: usize = 3;
/// Brightness is held above this fraction of the mean, and no value leaves this range, natural log.
const DARKEST: f64 = 4e-3;
const MOST: f32 = 4.0;

/// Planes by rings by spokes, each plane but the last with mean 0 over what the frame shows.
#[derive(Debug, Clone)]
pub(super) struct Patch {
    pub values: Vec<f32>,
}

impl Patch {
    /// `None` where the frame shows less than half of it.
    pub(super) fn read(frame: &Frame, view: &View, circle: &Circle) -> Option<Self> {
        let cells: Vec<Option<[f64; 3]>> =
            (0..RINGS * SPOKES).map(|i| cell(frame, view, circle, i / SPOKES, i % SPOKES)).collect();
        let shown = cells.iter().flatten().count();
        if 2 * shown < cells.len() {
            return None;
        }
        let sum: f64 = cells.iter().flatten().flatten().map(|v| v.max(0.0)).sum();
        let floor = (DARKEST * sum / (3 * shown) as f64).max(f64::MIN_POSITIVE);
        let shades: Vec<Option<[f64; 3]>> = cells.iter().map(|c| c.map(|rgb| shade(rgb, floor))).collect();
        let mut values = Vec::with_capacity(PLANES * cells.len());
        for plane in 0..PLANES - 1 {
            let mean = shades.iter().flatten().map(|s| s[plane]).sum::<f64>() / shown as f64;
            values.extend(shades.iter().map(|s| s.map_or(0.0, |s| ((s[plane] - mean) as f32).clamp(-MOST, MOST))));
        }
        values.extend(shades.iter().map(|s| if s.is_some() { 1.0 } else { 0.0 }));
        Some(Self { values })
    }
}

/// Log brightness and two differences of log channels.
fn shade(rgb: [f64; 3], floor: f64) -> [f64; 3] {
    let [r, g, b] = rgb.map(|v| v.max(floor).ln());
    [(r + g + b) / 3.0, r - g, b - g]
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

/// Mean of the pixels in one cell.
fn cell(frame: &Frame, view: &View, circle: &Circle, ring_index: usize, spoke: usize) -> Option<[f64; 3]> {
    let [near, far] = ring(ring_index);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for i in 0..ACROSS * ACROSS {
        let within = |k: usize| (k as f64 + 0.5) / ACROSS as f64;
        let radius = circle.radius * (near + (far - near) * within(i / ACROSS));
        let angle = TAU * (spoke as f64 + within(i % ACROSS)) / SPOKES as f64;
        let [x, y] = to_frame(view, [circle.x + radius * angle.cos(), circle.y + radius * angle.sin()])?;
        if let Some(pixel) = frame.pixel(x.floor() as i64, y.floor() as i64)
            && pixel.iter().all(|v| v.is_finite())
        {
            sum.iter_mut().zip(pixel).for_each(|(s, v)| *s += f64::from(v));
            count += 1.0;
        }
    }
    (count > 0.0).then(|| sum.map(|s| s / count))
}
