//! Where in a frame a mirror sphere may stand, at a glance: a small learned net over the brightness of the whole frame, on planes of
//! halving resolution. It only says where to look closely; outlines come from the edges there.

use crate::sphere::find::layers::{Convolution, Grid, Sides, Weights};
use crate::sphere::find::plane::{Plane, toned};

/// Channels, strides and dilations of its convolutions.
const LAYERS: [(usize, usize, usize); 6] = [(8, 2, 1), (16, 1, 1), (24, 2, 1), (24, 1, 1), (32, 1, 2), (32, 1, 4)];
/// ln of the odds, shift of the centre in x and y, and of the radius.
const ANSWERS: usize = 4;
/// Samples from one answer to the next.
const STEP: f64 = 4.0;
/// Radius, in samples, to which a shift of 0 belongs, and how far a shift of 1 goes.
const MIDDLE_RADIUS: f64 = 12.0;
const RADIUS_SHIFT: f64 = 3.0;
/// Planes with more samples than this are left out: in so large a frame a sphere is larger too.
const MOST_SAMPLES: usize = 700_000;
/// Least ln of the odds of a place.
const LEAST_ODDS: f32 = -5.0;
/// Places are one where centres and radii together differ by less than this part of the radius.
const ONE_PLACE: f64 = 0.3;
/// Added to the standard deviation by which brightness is divided, as when it was learned.
const LEAST_SD: f64 = 1e-3;

/// Written by `golden/outside/learn_glance.py`.
const NET: &[u8] = include_bytes!("net.bin");

/// A place where a sphere may stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sphere::find) struct Place {
    /// Centre and radius in the frame, px.
    pub circle: [f64; 3],
    /// ln of the odds, up to a constant.
    pub odds: f64,
}

impl Place {
    /// Distance of the centres and difference of the radii, as a part of this one's radius.
    pub(in crate::sphere::find) fn off(&self, [x, y, radius]: [f64; 3]) -> f64 {
        let [own_x, own_y, own_radius] = self.circle;
        ((own_x - x).hypot(own_y - y) + (own_radius - radius).abs()) / own_radius
    }
}

/// Likely places, likeliest first, so many at most: noise has a place at every few samples, and each is held against those kept.
pub(in crate::sphere::find) fn places(planes: &[Plane], knee: f32, most: usize) -> Vec<Place> {
    let seen = planes.iter().filter(|p| p.values.len() <= MOST_SAMPLES);
    let mut found: Vec<Place> = seen.flat_map(|plane| places_of(plane, knee)).collect();
    found.sort_by(|a, b| b.odds.total_cmp(&a.odds));
    let mut kept: Vec<Place> = Vec::new();
    for next in found {
        if kept.len() >= most {
            break;
        }
        if kept.iter().all(|k| k.off(next.circle) > ONE_PLACE) {
            kept.push(next);
        }
    }
    kept
}

fn places_of(plane: &Plane, knee: f32) -> Vec<Place> {
    let answer = answers(plane, knee);
    let odds = answer.channel(0);
    let at = |row: usize, column: usize| odds[row * answer.columns + column];
    let is_highest = |row: usize, column: usize| {
        let rows = row.saturating_sub(1)..(row + 2).min(answer.rows);
        let columns = || column.saturating_sub(1)..(column + 2).min(answer.columns);
        rows.clone().all(|r| columns().all(|c| at(r, c) <= at(row, column)))
    };
    let cells = (0..answer.rows).flat_map(|row| (0..answer.columns).map(move |column| (row, column)));
    let place = |(row, column): (usize, usize)| {
        let shift = |channel: usize| f64::from(answer.channel(channel)[row * answer.columns + column]);
        let along = |cell: usize, shift: f64| (STEP * (cell as f64 + shift) + 0.5) * plane.scale;
        let radius = plane.scale * MIDDLE_RADIUS * (shift(3) / RADIUS_SHIFT).exp();
        let circle = [plane.origin[0] + along(column, shift(1)), plane.origin[1] + along(row, shift(2)), radius];
        Place { circle, odds: f64::from(at(row, column)) }
    };
    cells.filter(|(r, c)| at(*r, *c) > LEAST_ODDS && is_highest(*r, *c)).map(place).collect()
}

/// What the net answers for every fourth sample each way.
fn answers(plane: &Plane, knee: f32) -> Grid {
    let mut weights = Weights::of(NET);
    let mut grid = Grid { channels: 1, rows: plane.height, columns: plane.width, values: brightness(plane, knee) };
    for (channels, stride, dilation) in LAYERS {
        let layer = Convolution { channels, taps: 3, dilation, stride, sides: Sides::Empty };
        grid = grid.convolved(layer, &mut weights).cut();
    }
    let last = Convolution { channels: ANSWERS, taps: 1, dilation: 1, stride: 1, sides: Sides::Empty };
    grid.convolved(last, &mut weights)
}

/// Compressed brightness of mean 0 and standard deviation 1; masked samples are 0.
fn brightness(plane: &Plane, knee: f32) -> Vec<f32> {
    let mut values = toned(plane, knee);
    let finite = || values.iter().filter(|v| v.is_finite()).map(|v| f64::from(*v));
    let count = finite().count().max(1) as f64;
    let mean = finite().sum::<f64>() / count;
    let sd = (finite().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt() + LEAST_SD;
    for v in &mut values {
        *v = if v.is_finite() { ((f64::from(*v) - mean) / sd) as f32 } else { 0.0 };
    }
    values
}
