//! A lat-long environment: what arrives from every direction, as captured on set.

mod convention;
mod predict;
mod survey;

pub use convention::{Convention, direction};
pub use predict::{PredictedSphere, predict_matte, predict_mirror};
pub use survey::{Clipping, Seam, Survey, survey};

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};

use crate::base::parallel;
use crate::image::{EnvironmentMap, Frame, four_around};
use crate::light::radiance::{Deposit, DirectionMap};

/// The finest level has at most so many columns (0.18° each): finer than any sphere shows it.
const MOST_COLUMNS: usize = 2048;

/// The coarsest level has at least so many.
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
        let columns = (frame.data.width.clamp(LEAST_COLUMNS, MOST_COLUMNS) / 4) * 4;
        let mut levels = vec![finest(frame, gain, columns)];
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

/// Resamples the frame to pixel patches; enough points per patch that no stored pixel is passed over.
///
/// Columns depend on longitude and rows on latitude alone, so which stored ones a patch takes, and by what weight, is
/// worked out once for each column and each row.
fn finest(frame: &Frame, gain: f64, columns: usize) -> Level {
    let rows = columns / 2;
    let convention = convention_of(frame);
    let stored = [frame.data.width, frame.data.height];
    let points = stored[0].div_ceil(columns).max(stored[1].div_ceil(rows)).clamp(1, 16);
    let place = |patch: usize, point: usize| patch as f64 + (point as f64 + 0.5) / points as f64 - 0.5;
    let angles = |at: [f64; 2]| Convention::PixelPatches.longitude_latitude(at, [columns, rows]);
    let period = (convention.period(stored[0]) as usize).max(1);
    let across: Vec<Taps> = parallel::map(columns, |column| {
        let longitudes = (0..points).map(|point| angles([place(column, point), 0.0])[0]);
        let at = longitudes.map(|longitude| convention.point(&direction(longitude, 0.0), stored)[0]);
        taps(at, |column| column.rem_euclid(period as i64) as usize)
    });
    let down: Vec<Taps> = parallel::map(rows, |row| {
        let latitudes = (0..points).map(|point| angles([0.0, place(row, point)])[1]);
        let at = latitudes.map(|latitude| convention.point(&direction(0.0, latitude), stored)[1]);
        taps(at, |row| row.clamp(0, stored[1] as i64 - 1) as usize)
    });
    let patches = |row: usize| -> Vec<[f32; 3]> {
        across.iter().map(|columns| gathered(frame, columns, &down[row], gain)).collect()
    };
    Level { columns, rows, rgb: parallel::map(rows, patches).concat() }
}

/// Stored columns or rows with their weights.
type Taps = Vec<(usize, f64)>;

/// The two neighbours of each place, by distance; a stored one that several places take stands once.
fn taps(places: impl Iterator<Item = f64>, stored: impl Fn(i64) -> usize) -> Taps {
    let mut taps = Taps::new();
    for place in places {
        let part = place - place.floor();
        for (index, weight) in [(place.floor() as i64, 1.0 - part), (place.floor() as i64 + 1, part)] {
            let index = stored(index);
            match taps.iter_mut().find(|tap| tap.0 == index) {
                Some(tap) => tap.1 += weight,
                None => taps.push((index, weight)),
            }
        }
    }
    taps
}

/// The weighted mean of the stored pixels in the working space; masked ones do not count, and where all are it is black.
fn gathered(frame: &Frame, columns: &Taps, rows: &Taps, gain: f64) -> [f32; 3] {
    let (mut sum, mut total) = ([0.0; 3], 0.0);
    for (row, down) in rows {
        let row = frame.rgb.get(row * frame.data.width..).unwrap_or_default();
        for (column, across) in columns {
            let Some(rgb) = row.get(*column).filter(|rgb| rgb[0].is_finite()) else { continue };
            let weight = down * across;
            sum = [0, 1, 2].map(|c| sum[c] + weight * f64::from(rgb[c]));
            total += weight;
        }
    }
    let scale = if total > 1e-9 { gain / total } else { 0.0 };
    frame.space.to_working(sum.map(|s| s * scale)).map(|v| v as f32)
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
            sum = [0, 1, 2].map(|c| sum[c] + weight * rgb[c]);
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
