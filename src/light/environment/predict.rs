//! The spheres that an environment predicts, seen by the shot's own camera.

use std::f64::consts::PI;

use nalgebra::Vector3;

use super::{LatLong, Stance};
use crate::base::parallel;
use crate::image::{DataWindow, Frame, Size};
use crate::light::radiance::{DirectionGrid, Source, patch_rgb};
use crate::sphere::{MirrorGeometry, Outline, Reflection};

/// Points across a pixel.
const POINTS: usize = 5;

/// Points across a pixel of a sphere so large that a pixel shows little.
const FEW_POINTS: usize = 3;

/// Radius from which a sphere is that large, px.
const LARGE_PX: f64 = 400.0;

/// Points across a pixel of a grey sphere, which shades smoothly.
const MATTE_POINTS: usize = 2;

/// Illuminance between the grid's directions is averaged this far, degrees.
const MATTE_REACH_DEG: f64 = 4.5;

/// A sphere's pixels: the smallest window that holds it, colour times coverage, and coverage.
#[derive(Debug, Clone)]
pub struct PredictedSphere {
    /// Window in the frame.
    pub data: DataWindow,
    /// Linear BT.709, times coverage.
    pub rgb: Vec<[f32; 3]>,
    /// Coverage.
    pub alpha: Vec<f32>,
}

/// A perfect mirror sphere.
pub fn predict_mirror(
    environment: &LatLong,
    stance: &Stance,
    geometry: &MirrorGeometry,
    outline: &Outline,
) -> PredictedSphere {
    let points = if outline.mean_radius() > LARGE_PX { FEW_POINTS } else { POINTS };
    let step = 1.0 / points as f64;
    draw(outline, |corner| {
        let seen = Reflections::of(geometry, corner, points);
        averaged(points, |[column, row]| {
            let here = seen.at(column, row)?;
            // Towards the rim the picture is squeezed along the radius: average over as much as lies between two points.
            let beside = [seen.at(column + 1, row), seen.at(column, row + 1)]
                .into_iter()
                .flatten()
                .map(|other| (other.direction - here.direction).norm())
                .fold(here.steradian_per_px2.sqrt() * step, f64::max);
            Some(environment.radiance(&stance.own(&here.direction), beside))
        })
    })
}

/// What the points across a pixel show, and one row and column of points more: each is looked at beside its neighbours.
struct Reflections {
    seen: [Option<Reflection>; (POINTS + 1) * (POINTS + 1)],
    columns: usize,
}

impl Reflections {
    fn of(geometry: &MirrorGeometry, corner: [f64; 2], points: usize) -> Self {
        let columns = points + 1;
        let mut seen = [None; (POINTS + 1) * (POINTS + 1)];
        for (index, seen) in seen.iter_mut().take(columns * columns).enumerate() {
            *seen = geometry.reflect(point_of(corner, points, [index % columns, index / columns]));
        }
        Self { seen, columns }
    }

    fn at(&self, column: usize, row: usize) -> Option<&Reflection> {
        self.seen[row * self.columns + column].as_ref()
    }
}

/// A perfectly grey sphere (Lambert) of the given reflectance; it throws no light back on what surrounds it.
pub fn predict_matte(
    sources: &[Source],
    geometry: &MirrorGeometry,
    outline: &Outline,
    reflectance: [f64; 3],
) -> PredictedSphere {
    let grid = DirectionGrid::shared();
    let lit: Vec<[f64; 3]> = parallel::map_each(&grid.directions, |normal| patch_rgb(sources, normal));
    draw(outline, |corner| {
        averaged(MATTE_POINTS, |place| {
            let point = point_of(corner, MATTE_POINTS, place);
            let seen = geometry.reflect(point)?;
            // The surface's normal lies midway between the ray back to the camera and the mirrored one.
            let normal = (seen.direction - geometry.view().ray(point)).try_normalize(1e-9)?;
            let illuminance = around(&lit, &normal);
            Some([0, 1, 2].map(|c| illuminance[c] * reflectance[c] / PI))
        })
    })
}

/// Mean over the grid's directions near a normal.
fn around(lit: &[[f64; 3]], normal: &Vector3<f64>) -> [f64; 3] {
    let grid = DirectionGrid::shared();
    let reach = MATTE_REACH_DEG.to_radians();
    let (mut sum, mut total) = ([0.0; 3], 0.0);
    for (other, _) in grid.neighbours(grid.cell(normal)) {
        let other = usize::from(*other);
        let weight = 1.0 - (grid.directions[other] - normal).norm() / reach;
        if weight > 0.0 {
            sum = [0, 1, 2].map(|c| sum[c] + weight * lit[other][c]);
            total += weight;
        }
    }
    sum.map(|s| s / f64::max(total, 1e-9))
}

/// Draws every pixel of the outline's window; `pixel` gets its upper left corner and gives colour times coverage, and coverage.
fn draw(outline: &Outline, pixel: impl Fn([f64; 2]) -> ([f32; 3], f32) + Sync) -> PredictedSphere {
    let radius = outline.semi_a + 1.0;
    let (x, y) = ((outline.centre_x - radius).floor() as i64, (outline.centre_y - radius).floor() as i64);
    let side = (2.0 * radius).ceil() as usize + 1;
    let corner = |index: usize| [(x + (index % side) as i64) as f64, (y + (index / side) as i64) as f64];
    let (rgb, alpha) = parallel::map(side * side, |index| pixel(corner(index))).into_iter().unzip();
    PredictedSphere { data: DataWindow { x, y, width: side, height: side }, rgb, alpha }
}

/// One of the points across a pixel, by column and row.
fn point_of(corner: [f64; 2], points: usize, place: [usize; 2]) -> [f64; 2] {
    let step = 1.0 / points as f64;
    [0, 1].map(|axis| corner[axis] + (place[axis] as f64 + 0.5) * step)
}

/// The mean of what the points across a pixel show, and the part of them that show something.
fn averaged(points: usize, sample: impl Fn([usize; 2]) -> Option<[f64; 3]>) -> ([f32; 3], f32) {
    let (mut sum, mut hits) = ([0.0; 3], 0.0);
    for point in 0..points * points {
        if let Some(rgb) = sample([point % points, point / points]) {
            sum = [0, 1, 2].map(|c| sum[c] + rgb[c]);
            hits += 1.0;
        }
    }
    let count = (points * points) as f64;
    (sum.map(|s| (s / count) as f32), (hits / count) as f32)
}

impl PredictedSphere {
    /// The sphere as a frame of the given size.
    pub fn frame(&self, size: Size, pixel_aspect: f64) -> Frame {
        Frame {
            data: self.data,
            pixel_aspect,
            alpha: Some(self.alpha.clone()),
            ..Frame::computed("environment", size, self.rgb.clone())
        }
    }

    /// Every value times a factor per channel.
    #[must_use]
    pub fn scaled(mut self, factor: [f64; 3]) -> Self {
        for rgb in &mut self.rgb {
            *rgb = [0, 1, 2].map(|c| (f64::from(rgb[c]) * factor[c]) as f32);
        }
        self
    }
}
