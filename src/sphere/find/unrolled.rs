//! The frame about a circle, unrolled: brightness and colour by angle and by distance from the centre, as the learned nets see it.

use std::f64::consts::TAU;

use super::flat::{Circle, to_frame};
use crate::image::Frame;
use crate::optics::camera::View;

/// Brightness, two differences of colour, and whether the frame shows the place.
pub(super) const PLANES: usize = 4;
/// Angles.
pub(super) const SPOKES: usize = 64;
/// Samples across a cell, each way.
const ACROSS: usize = 3;
/// Brightness is held above this fraction of the mean, and no value leaves this range, natural log.
const DARKEST: f64 = 4e-3;
const MOST: f32 = 4.0;

/// Planes by rings by spokes, each plane but the last with mean 0 over what the frame shows, its values those of what is shown nowhere 0.
/// Rings are given by their bounds as fractions of the radius. `None` where the frame shows less than a part of it.
pub(super) fn unrolled(
    frame: &Frame,
    view: &View,
    circle: &Circle,
    rings: &[[f64; 2]],
    least_shown: f64,
) -> Option<Vec<f32>> {
    let ways = Ways::all();
    let cells: Vec<Option<[f64; 3]>> =
        rings.iter().flat_map(|ring| (0..SPOKES).map(|s| cell(frame, view, circle, *ring, &ways.0[s]))).collect();
    let shown = cells.iter().flatten().count();
    if (shown as f64) < least_shown * cells.len() as f64 {
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
    Some(values)
}

/// Log brightness and two differences of log channels.
fn shade(rgb: [f64; 3], floor: f64) -> [f64; 3] {
    let [r, g, b] = rgb.map(|v| v.max(floor).ln());
    [(r + g + b) / 3.0, r - g, b - g]
}

/// Directions of the samples of each spoke.
struct Ways([[[f64; 2]; ACROSS]; SPOKES]);

impl Ways {
    fn all() -> Self {
        let angle = |spoke: usize, sample: usize| TAU * (spoke as f64 + within(sample)) / SPOKES as f64;
        let way = |angle: f64| [angle.cos(), angle.sin()];
        Self(std::array::from_fn(|spoke| std::array::from_fn(|sample| way(angle(spoke, sample)))))
    }
}

fn within(sample: usize) -> f64 {
    (sample as f64 + 0.5) / ACROSS as f64
}

/// Mean of the pixels in one cell.
fn cell(
    frame: &Frame,
    view: &View,
    circle: &Circle,
    [near, far]: [f64; 2],
    ways: &[[f64; 2]; ACROSS],
) -> Option<[f64; 3]> {
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for i in 0..ACROSS * ACROSS {
        let radius = circle.radius * (near + (far - near) * within(i / ACROSS));
        let [across, down] = ways[i % ACROSS];
        let [x, y] = to_frame(view, [circle.x + radius * across, circle.y + radius * down])?;
        if let Some(pixel) = frame.pixel(x.floor() as i64, y.floor() as i64)
            && pixel.iter().all(|v| v.is_finite())
        {
            sum.iter_mut().zip(pixel).for_each(|(s, v)| *s += f64::from(v));
            count += 1.0;
        }
    }
    (count > 0.0).then(|| sum.map(|s| s / count))
}
