//! A lat-long environment: what arrives from every direction, as captured on set.

mod convention;
mod predict;
mod strips;
mod survey;

pub use convention::{Convention, direction};
pub use predict::{PredictedSphere, predict_matte, predict_mirror};
pub use strips::LatLongInStrips;
pub use survey::{Clipping, Seam, Survey, SurveyInStrips, survey};

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};

use crate::base::parallel;
use crate::image::{EnvironmentMap, Frame, four_around};
use crate::light::radiance::{Deposit, DirectionMap};

/// Most columns of the finest level (0.18° each): finer than any sphere can show.
const MOST_COLUMNS: usize = 2048;

/// Fewest columns of the coarsest level.
const LEAST_COLUMNS: usize = 64;

/// The environment in the working space, at several resolutions.
#[derive(Debug, Clone)]
pub struct LatLong {
    levels: Vec<Level>,
}

/// One resolution: twice as many columns as rows, pixel patches.
#[derive(Debug, Clone)]
struct Level {
    columns: usize,
    rows: usize,
    rgb: Vec<[f32; 3]>,
}

/// How the environment stands in camera axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stance {
    /// Columns: the level world's right, up and towards the camera, in camera axes.
    pub level_axes: Matrix3<f64>,
    /// Azimuth of the picture's middle column.
    pub heading_deg: f64,
}

impl Stance {
    /// A direction of camera axes in the environment's own (z in the picture's middle).
    fn own(&self, direction: &Vector3<f64>) -> Vector3<f64> {
        let level = self.level_axes.transpose() * direction;
        let (sin, cos) = self.heading_deg.to_radians().sin_cos();
        Vector3::new(cos * level.x - sin * level.z, level.y, sin * level.x + cos * level.z)
    }

    /// The inverse.
    pub fn in_camera_axes(&self, own: &Vector3<f64>) -> Vector3<f64> {
        let (sin, cos) = self.heading_deg.to_radians().sin_cos();
        self.level_axes * Vector3::new(cos * own.x + sin * own.z, own.y, cos * own.z - sin * own.x)
    }
}

/// The convention of a frame: OpenEXR's where the file has its attribute.
pub fn convention_of(frame: &Frame) -> Convention {
    if frame.meta.environment_map == Some(EnvironmentMap::LatLong) {
        Convention::OpenExr
    } else {
        Convention::PixelPatches
    }
}

impl LatLong {
    /// From a frame whose data window is the environment. `gain` brings its values to the plate's exposure. Masked
    /// pixels take what their neighbours show; where there are none, they are black.
    pub fn of(frame: &Frame, gain: f64) -> Self {
        let mut strips = LatLongInStrips::new(frame, gain);
        strips.take(frame, 0);
        strips.finish()
    }

    fn of_finest(finest: Level) -> Self {
        let mut levels = vec![finest];
        while let Some(next) = levels.last().filter(|l| l.columns >= 2 * LEAST_COLUMNS).map(halved) {
            levels.push(next);
        }
        Self { levels }
    }

    /// Radiance from a direction of the environment's own axes, averaged over about `blur_rad`.
    pub fn radiance(&self, own: &Vector3<f64>, blur_rad: f64) -> [f64; 3] {
        let finest = 2.0 * PI / self.levels[0].columns as f64;
        let coarser = (blur_rad / finest).max(1.0).log2().floor() as usize;
        self.levels[coarser.min(self.levels.len() - 1)].at(own)
    }

    /// All light gathered on the shared grid of directions.
    pub fn gathered(&self, stance: &Stance) -> DirectionMap {
        let level = self.levels.iter().find(|l| l.columns <= 1024).unwrap_or(&self.levels[0]);
        let size = [level.columns, level.rows];
        let mut map = DirectionMap::default();
        for row in 0..level.rows {
            let steradian = Convention::PixelPatches.steradian(row, size);
            for column in 0..level.columns {
                let [lon, lat] = Convention::PixelPatches.longitude_latitude([column as f64, row as f64], size);
                let rgb = level.rgb[row * level.columns + column].map(f64::from);
                map.deposit(&Deposit {
                    direction: stance.in_camera_axes(&direction(lon, lat)),
                    steradian,
                    rgb,
                    luminance: crate::colour::luminance(rgb),
                    clipped: false,
                });
            }
        }
        map
    }
}

/// Between four pixels; columns repeat after `period`, rows end at the poles.
fn bilinear(
    [x, y]: [f64; 2],
    period: usize,
    rows: usize,
    pixel: impl Fn(usize, usize) -> Option<[f64; 3]>,
) -> Option<[f64; 3]> {
    let (mut sum, mut total) = ([0.0; 3], 0.0);
    for (column, row, weight) in four_around([x + 0.5, y + 0.5]) {
        let column = column.rem_euclid(period.max(1) as i64) as usize;
        if let Some(rgb) = pixel(column, row.clamp(0, rows as i64 - 1) as usize) {
            for c in 0..3 {
                sum[c] += weight * rgb[c];
            }
            total += weight;
        }
    }
    (total > 1e-9).then(|| sum.map(|s| s / total))
}

/// Half the columns and rows, each pixel the mean of four by solid angle.
fn halved(level: &Level) -> Level {
    let (columns, rows) = (level.columns / 2, level.rows / 2);
    let size = [level.columns, level.rows];
    let pixel = |index: usize| {
        let (column, row) = (2 * (index % columns), 2 * (index / columns));
        let weight = |row: usize| Convention::PixelPatches.steradian(row, size);
        let (upper, lower) = (weight(row), weight(row + 1));
        let at = |dx: usize, dy: usize, c: usize| f64::from(level.rgb[(row + dy) * level.columns + column + dx][c]);
        [0, 1, 2].map(|c| {
            let sum = upper * (at(0, 0, c) + at(1, 0, c)) + lower * (at(0, 1, c) + at(1, 1, c));
            (sum / (2.0 * (upper + lower))) as f32
        })
    };
    Level { columns, rows, rgb: parallel::map(columns * rows, pixel) }
}

impl Level {
    fn at(&self, own: &Vector3<f64>) -> [f64; 3] {
        let point = Convention::PixelPatches.point(own, [self.columns, self.rows]);
        let pixel = |column: usize, row: usize| Some(self.rgb[row * self.columns + column].map(f64::from));
        bilinear(point, self.columns, self.rows, pixel).unwrap_or([0.0; 3])
    }
}
