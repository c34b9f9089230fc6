//! What is inside an outline against what is around it.
//!
//! Close to its rim a mirror sphere shows what lies right behind and beside it, so that colour and brightness go on
//! across the rim with the angle, dimmed by the reflectance. All of it together shows the whole scene. A painted ball shows
//! its own paint; a dark polished one shows the scene, but a few per cent of it.

use std::f64::consts::TAU;

use super::flat::{Circle, to_frame};
use crate::image::Frame;
use crate::optics::camera::View;

/// Angles at which both sides of the rim are read.
const SPOKES: usize = 72;
/// Radii read inside, as fractions of the radius: the band next to the rim …
const INNER: [f64; 3] = [0.88, 0.92, 0.95];
/// … the band outside it …
const OUTER: [f64; 3] = [1.08, 1.15, 1.25];
/// … and the whole disc, at places of equal area.
const DISC: [f64; 6] = [0.29, 0.5, 0.65, 0.76, 0.87, 0.95];
/// Luminances are held against this fraction of the frame's mean from below.
const DARKEST: f64 = 1e-3;

/// How inside and outside go together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Surround {
    /// Mean log luminance inside less that around it, natural log.
    pub brighter: f64,
    /// Distance of the mean colours inside and around, natural log of the channels over their mean.
    pub colour_apart: f64,
    /// Correlation over the angle of log luminance next to the rim, inside against outside.
    pub continues: f64,
    /// The same of colour.
    pub colour_continues: f64,
}

/// Log luminance, and two differences of log channels.
type Shade = [f64; 3];

/// Reads both sides of a circle; `None` where less than half of it lies in the frame.
pub(super) fn surround(frame: &Frame, view: &View, circle: &Circle) -> Option<Surround> {
    let floor = DARKEST * mean_level(frame, view, circle)?;
    let read = |fraction: f64, spoke: usize| shade(frame, view, circle, fraction, spoke, floor);
    let band = |radii: &[f64], spoke: usize| mean(radii.iter().filter_map(|f| read(*f, spoke)));
    let pairs: Vec<(Shade, Shade)> =
        (0..SPOKES).filter_map(|spoke| Some((band(&INNER, spoke)?, band(&OUTER, spoke)?))).collect();
    if 2 * pairs.len() < SPOKES {
        return None;
    }
    let inside = mean((0..SPOKES).filter_map(|spoke| band(&DISC, spoke)))?;
    let outside = mean(pairs.iter().map(|p| p.1))?;
    let correlation = |k: usize| correlation(&pairs.iter().map(|p| [p.0[k], p.1[k]]).collect::<Vec<_>>());
    Some(Surround {
        brighter: inside[0] - outside[0],
        colour_apart: (inside[1] - outside[1]).hypot(inside[2] - outside[2]),
        continues: correlation(0),
        colour_continues: 0.5 * (correlation(1) + correlation(2)),
    })
}

fn place(view: &View, circle: &Circle, fraction: f64, spoke: usize) -> Option<[f64; 2]> {
    let angle = TAU * spoke as f64 / SPOKES as f64;
    let radius = fraction * circle.radius;
    to_frame(view, [circle.x + radius * angle.cos(), circle.y + radius * angle.sin()])
}

/// Mean of three by three pixels, as far apart as the spokes are fine.
fn pixel(frame: &Frame, view: &View, circle: &Circle, fraction: f64, spoke: usize) -> Option<[f64; 3]> {
    let [x, y] = place(view, circle, fraction, spoke)?;
    let step = (0.015 * circle.radius).max(1.0);
    let mut sum = [0.0; 3];
    for (dx, dy) in (0..9).map(|i| (f64::from(i % 3 - 1), f64::from(i / 3 - 1))) {
        let found = frame.pixel((x + step * dx).floor() as i64, (y + step * dy).floor() as i64)?;
        sum.iter_mut().zip(found).for_each(|(s, v)| *s += f64::from(v) / 9.0);
    }
    sum.iter().all(|s| s.is_finite()).then_some(sum)
}

fn shade(frame: &Frame, view: &View, circle: &Circle, fraction: f64, spoke: usize, floor: f64) -> Option<Shade> {
    let [r, g, b] = pixel(frame, view, circle, fraction, spoke)?.map(|v| v.max(floor).ln());
    Some([(r + g + b) / 3.0, r - g, b - g])
}

fn mean_level(frame: &Frame, view: &View, circle: &Circle) -> Option<f64> {
    let levels: Vec<f64> = (0..SPOKES)
        .flat_map(|spoke| OUTER.iter().chain(&DISC).map(move |f| (*f, spoke)))
        .filter_map(|(fraction, spoke)| Some(pixel(frame, view, circle, fraction, spoke)?.iter().sum::<f64>() / 3.0))
        .collect();
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    (mean > 0.0).then_some(mean)
}

fn mean(shades: impl Iterator<Item = Shade>) -> Option<Shade> {
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for shade in shades {
        sum.iter_mut().zip(shade).for_each(|(s, v)| *s += v);
        count += 1.0;
    }
    (count > 0.0).then(|| sum.map(|s| s / count))
}

/// Spearman's rank correlation (1904); 0 where either side is even. Ranks, because what stands in front of the sphere and beside it, a
/// post say, goes on across the rim as well, on a few lines and by far more than anything else.
fn correlation(pairs: &[[f64; 2]]) -> f64 {
    let sides = [0, 1].map(|k| ranks(&pairs.iter().map(|p| p[k]).collect::<Vec<_>>()));
    let middle = 0.5 * (pairs.len() as f64 + 1.0);
    let moment = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a - middle) * (b - middle)).sum::<f64>();
    let power = (moment(&sides[0], &sides[0]) * moment(&sides[1], &sides[1])).sqrt();
    if power > 0.0 { moment(&sides[0], &sides[1]) / power } else { 0.0 }
}

/// Ranks from 1; equal values share the mean of theirs.
fn ranks(values: &[f64]) -> Vec<f64> {
    let below = |v: f64| values.iter().filter(|o| **o < v).count() as f64;
    let equal = |v: f64| values.iter().filter(|o| o.total_cmp(&v).is_eq()).count() as f64;
    values.iter().map(|v| below(*v) + 0.5 * (equal(*v) + 1.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn correlation_is_that_of_the_textbook() {
        // Anscombe 1973, first set; scipy.stats.spearmanr gives 0.8182.
        let x = [10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0];
        let y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
        let pairs: Vec<[f64; 2]> = x.iter().zip(y).map(|(x, y)| [*x, y]).collect();
        assert!((correlation(&pairs) - 0.8182).abs() < 5e-5, "{}", correlation(&pairs));
        // Ties: scipy.stats.spearmanr([1, 2, 2, 3], [1, 3, 2, 4]) gives 0.9487.
        let tied = correlation(&[[1.0, 1.0], [2.0, 3.0], [2.0, 2.0], [3.0, 4.0]]);
        assert!((tied - 0.9487).abs() < 5e-5, "{tied}");
        assert!(correlation(&[[1.0, 2.0], [1.0, 3.0]]).abs() < 1e-12);
    }
}
