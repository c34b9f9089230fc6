//! The sphere's pixels as radiance with direction and solid angle, at the resolution of the analysis.
//!
//! A large sphere is averaged in square blocks of whole pixels down to at most [`TARGET_RADIUS_CELLS`]: averaging
//! linear light keeps radiance, and positions well below one block survive in the averages.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};

use super::map::{Deposit, DirectionMap};
use super::radiometry::{Limiter, Radiometry};
use crate::base::parallel;
use crate::base::statistics::robust_sd;
use crate::colour::luminance;
use crate::image::Frame;
use crate::sphere::{MirrorGeometry, Outline, Reflection};

/// Radius of the sphere in analysis cells, at most.
pub(super) const TARGET_RADIUS_CELLS: f64 = 260.0;

/// Pixels this close to the rim mix with what lies behind the sphere and are not used.
const RIM_MARGIN_PX: f64 = 1.0;

/// Distance of the points at which a cell's light is handed to the direction map, at most: half of the map's cells.
const SPACING_DEG: f64 = 1.6;

/// Squared extent of blocks, rad², up to which one point stands for a block beyond doubt.
const EVEN_RAD2: f64 = (0.9 * SPACING_DEG * PI / 180.0) * (0.9 * SPACING_DEG * PI / 180.0);

/// Pixels whose aspect is this close to 1 are square.
const SQUARE: f64 = 0.01;

/// Frame rows are worked on in this many slices, whatever the number of threads, so that sums never depend on it.
const SLICES: usize = 4;

/// One analysis cell.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// Radiance in the working space.
    pub rgb: [f32; 3],
    /// Luminance of `rgb`.
    pub luminance: f32,
    /// Mean direction, unit length.
    pub direction: Vector3<f64>,
    /// Solid angle, sr.
    pub steradian: f64,
    /// Squared angular extent of the cell: radial² + tangential², rad².
    pub extent_rad2: f64,
    /// Some channel of some pixel was at its ceiling.
    pub clipped: bool,
}

/// The sphere as a small picture of radiances.
#[derive(Debug, Clone)]
pub struct SphereImage {
    /// Frame pixels per cell side.
    pub block_px: usize,
    /// Display-window column and row of the first cell's first pixel.
    pub origin_px: [i64; 2],
    /// Cells per row.
    pub width: usize,
    /// Rows of cells.
    pub height: usize,
    /// The cells; `None` off the sphere, at its rim, or where the frame is masked.
    pub samples: Vec<Option<Sample>>,
    /// The same light gathered by direction.
    pub map: DirectionMap,
    /// Fraction of the sphere's pixels with a clipped channel.
    pub clipped_fraction: f64,
    /// Fraction of the sphere's pixels that are masked or missing.
    pub invalid_fraction: f64,
    /// Noise of one cell's luminance, one standard deviation.
    pub noise_sd: f64,
}

struct Slice {
    samples: Vec<Option<Sample>>,
    map: DirectionMap,
    tally: Tally,
}

#[derive(Default, Clone, Copy)]
struct Tally {
    on_sphere: u64,
    clipped: u64,
    invalid: u64,
}

/// What the gathering of one block yields.
struct Block {
    stored: [f64; 3],
    clipped: bool,
}

struct Gatherer<'a> {
    frame: &'a Frame,
    geometry: &'a MirrorGeometry,
    outline: &'a Outline,
    radiometry: &'a Radiometry,
    block_px: usize,
    origin_px: [i64; 2],
    rim_limit: f64,
    working_from_stored: Matrix3<f64>,
    limiter: Option<Limiter>,
}

impl SphereImage {
    /// Gathers the sphere's pixels.
    pub fn gather(frame: &Frame, geometry: &MirrorGeometry, outline: &Outline, radiometry: &Radiometry) -> Self {
        let radius = outline.semi_a.max(1.0);
        let block_px = (radius / TARGET_RADIUS_CELLS).ceil().max(1.0) as usize;
        let span = ((radius + 1.0) / block_px as f64).ceil() as usize * 2 + 2;
        let half = (span / 2 * block_px) as f64;
        let origin_px = [(outline.centre_x - half).floor() as i64, (outline.centre_y - half).floor() as i64];
        let (width, height) = (span, span);
        let gatherer = Gatherer {
            frame,
            geometry,
            outline,
            radiometry,
            block_px,
            origin_px,
            rim_limit: 1.0 - RIM_MARGIN_PX / outline.semi_b.max(2.0),
            working_from_stored: radiometry.working_from_stored(&frame.space),
            limiter: radiometry.through_limit(&frame.space),
        };
        let rows_per_slice = height.div_ceil(SLICES);
        let slices: Vec<Slice> = parallel::map(SLICES, |i| {
            gatherer.slice(width, i * rows_per_slice..((i + 1) * rows_per_slice).min(height))
        });
        let mut image = Self {
            block_px,
            origin_px,
            width,
            height,
            samples: Vec::with_capacity(width * height),
            map: DirectionMap::default(),
            clipped_fraction: 0.0,
            invalid_fraction: 0.0,
            noise_sd: 0.0,
        };
        image.assemble(slices);
        image
    }

    fn assemble(&mut self, slices: Vec<Slice>) {
        let mut tally = Tally::default();
        for slice in slices {
            self.samples.extend(slice.samples);
            self.map.add(&slice.map);
            tally.on_sphere += slice.tally.on_sphere;
            tally.clipped += slice.tally.clipped;
            tally.invalid += slice.tally.invalid;
        }
        let pixels = tally.on_sphere.max(1) as f64;
        self.clipped_fraction = tally.clipped as f64 / pixels;
        self.invalid_fraction = tally.invalid as f64 / pixels;
        self.noise_sd = self.estimate_noise();
    }

    /// Frame coordinates (px from the display window's corner) of a cell's centre.
    pub fn cell_centre_px(&self, column: usize, row: usize) -> [f64; 2] {
        let block = self.block_px as f64;
        [
            self.origin_px[0] as f64 + (column as f64 + 0.5) * block,
            self.origin_px[1] as f64 + (row as f64 + 0.5) * block,
        ]
    }

    /// The radiance at a frame point by bilinear interpolation; `None` where a neighbour is missing.
    pub fn radiance_at(&self, point_px: [f64; 2]) -> Option<[f64; 3]> {
        let block = self.block_px as f64;
        let x = (point_px[0] - self.origin_px[0] as f64) / block - 0.5;
        let y = (point_px[1] - self.origin_px[1] as f64) / block - 0.5;
        if x < 0.0 || y < 0.0 {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f64, y - row as f64);
        let mut sum = [0.0; 3];
        for (dx, dy, weight) in
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)]
        {
            let sample = self.sample(column + dx, row + dy)?;
            for (total, value) in sum.iter_mut().zip(sample.rgb) {
                *total += weight * f64::from(value);
            }
        }
        Some(sum)
    }

    /// The cell at a column and row.
    pub fn sample(&self, column: usize, row: usize) -> Option<&Sample> {
        if column >= self.width || row >= self.height {
            return None;
        }
        self.samples[row * self.width + column].as_ref()
    }

    /// Noise of one cell from the median absolute value of the mask [1 −2 1; −2 4 −2; 1 −2 1], which a plane or an
    /// edge along an axis does not excite; its output has 6 times the noise of one cell (Immerkær 1996, from memory).
    fn estimate_noise(&self) -> f64 {
        let mut responses = Vec::new();
        for row in (1..self.height.saturating_sub(1)).step_by(2) {
            for column in (1..self.width.saturating_sub(1)).step_by(2) {
                responses.extend(self.laplacian(column, row));
            }
        }
        robust_sd(responses, 0.0).unwrap_or(0.0) / 6.0
    }

    fn laplacian(&self, column: usize, row: usize) -> Option<f64> {
        let mut sum = 0.0;
        for (dy, wy) in [(0, 1.0), (1, -2.0), (2, 1.0)] {
            for (dx, wx) in [(0, 1.0), (1, -2.0), (2, 1.0)] {
                sum += wx * wy * f64::from(self.sample(column + dx - 1, row + dy - 1)?.luminance);
            }
        }
        Some(sum.abs())
    }
}

impl Gatherer<'_> {
    fn slice(&self, width: usize, rows: std::ops::Range<usize>) -> Slice {
        let mut slice = Slice {
            samples: Vec::with_capacity(width * rows.len()),
            map: DirectionMap::default(),
            tally: Tally::default(),
        };
        for row in rows {
            for column in 0..width {
                let sample = self.cell(column, row, &mut slice.map, &mut slice.tally);
                slice.samples.push(sample);
            }
        }
        slice
    }

    fn cell(&self, column: usize, row: usize, map: &mut DirectionMap, tally: &mut Tally) -> Option<Sample> {
        let corner =
            [self.origin_px[0] + (column * self.block_px) as i64, self.origin_px[1] + (row * self.block_px) as i64];
        let half = self.block_px as f64 * 0.5;
        let centre = [corner[0] as f64 + half, corner[1] as f64 + half];
        let reach = half * std::f64::consts::SQRT_2 / self.outline.semi_b;
        let test_rim = self.is_near_rim(centre, reach)?;
        let block = self.gather_block(corner, test_rim, tally)?;
        self.finish(corner, &block, map)
    }

    /// Whether the rim may run through a block that reaches that many radii from its centre; `None` where it lies
    /// outside.
    fn is_near_rim(&self, centre: [f64; 2], reach: f64) -> Option<bool> {
        let Outline { centre_x, centre_y, semi_a, semi_b, .. } = *self.outline;
        // The circles in and around the ellipse settle most blocks.
        let squared_px2 = (centre[0] - centre_x).powi(2) + (centre[1] - centre_y).powi(2);
        let (shorter, longer) = (semi_a.min(semi_b), semi_a.max(semi_b));
        let (inner_px, outer_px) = ((self.rim_limit - reach) * shorter, (self.rim_limit + reach) * longer);
        if inner_px > 0.0 && squared_px2 < inner_px * inner_px {
            return Some(false);
        }
        if squared_px2 > outer_px * outer_px {
            return None;
        }
        let middle = self.outline.normalised_radius(centre);
        (middle <= self.rim_limit + reach).then_some(middle + reach > self.rim_limit)
    }

    /// Radiance in the working space of a block's mean pixel, the reflectance's change away from the middle taken out.
    fn radiance(&self, centre: [f64; 2], stored: [f64; 3]) -> [f64; 3] {
        let rgb: [f64; 3] = (self.working_from_stored * Vector3::from(stored)).into();
        let Some(falloff) = &self.radiometry.falloff else { return rgb };
        let Some(seen) = self.geometry.reflect(centre) else { return rgb };
        let factor = falloff.at(seen.sin_incidence);
        [0, 1, 2].map(|channel| rgb[channel] / factor[channel])
    }

    /// Averages the usable pixels of a block. Near the rim each pixel is tested on its own.
    fn gather_block(&self, corner: [i64; 2], test_rim: bool, tally: &mut Tally) -> Option<Block> {
        let (mut sum, mut used, mut clipped) = ([0.0; 3], 0_u32, false);
        for y in corner[1]..corner[1] + self.block_px as i64 {
            for x in corner[0]..corner[0] + self.block_px as i64 {
                let middle = [x as f64 + 0.5, y as f64 + 0.5];
                if test_rim && self.outline.normalised_radius(middle) > self.rim_limit {
                    continue;
                }
                tally.on_sphere += 1;
                let Some((stored, pixel_clipped)) = self.stored(x, y) else {
                    tally.invalid += 1;
                    continue;
                };
                tally.clipped += u64::from(pixel_clipped);
                clipped |= pixel_clipped;
                used += 1;
                for (total, value) in sum.iter_mut().zip(stored) {
                    *total += value;
                }
            }
        }
        (used > 0).then(|| Block { stored: sum.map(|s| s / f64::from(used)), clipped })
    }

    /// One pixel in the frame's own space, alpha undone and no brighter than the other recording could hold, and
    /// whether it is at a ceiling.
    fn stored(&self, x: i64, y: i64) -> Option<([f64; 3], bool)> {
        let pixel = self.frame.pixel(x, y)?;
        let clipped = self.frame.clip_level.is_some_and(|level| pixel.iter().zip(level).any(|(v, c)| *v >= c));
        let mut coverage = 1.0;
        if self.radiometry.premultiplied
            && let Some(alpha) = self.frame.alpha_at(x, y)
        {
            if alpha < 0.5 {
                return None;
            }
            coverage = f64::from(alpha);
        }
        let stored = pixel.map(|v| f64::from(v) / coverage);
        match self.limiter.as_ref().and_then(|limiter| limiter.hold(stored)) {
            Some(held) => Some((held, true)),
            None => Some((stored, clipped)),
        }
    }

    /// Direction and solid angle of the block, from as many points as keep them [`SPACING_DEG`] apart.
    fn finish(&self, corner: [i64; 2], block: &Block, map: &mut DirectionMap) -> Option<Sample> {
        let side = self.block_px as f64;
        let centre = [corner[0] as f64 + side * 0.5, corner[1] as f64 + side * 0.5];
        let rgb = self.radiance(centre, block.stored);
        let y = luminance(rgb);
        let middle = self.geometry.reflect(centre);
        let extent_rad2 = middle.map_or(0.0, |middle| self.extent_rad2(centre, &middle));
        let points = points_per_side(extent_rad2);
        let step = side / points as f64;
        let (mut sum, mut steradian) = (Vector3::zeros(), 0.0);
        for j in 0..points {
            for i in 0..points {
                let point = [corner[0] as f64 + (i as f64 + 0.5) * step, corner[1] as f64 + (j as f64 + 0.5) * step];
                let seen = if points == 1 { middle } else { self.geometry.reflect(point) };
                let Some(seen) = seen else { continue };
                let solid = seen.steradian_per_px2 * step * step;
                sum += seen.direction * solid;
                steradian += solid;
                map.deposit(&Deposit {
                    direction: seen.direction,
                    steradian: solid,
                    rgb,
                    luminance: y,
                    clipped: block.clipped,
                });
            }
        }
        (steradian > 0.0).then(|| Sample {
            rgb: rgb.map(|v| v as f32),
            luminance: y as f32,
            direction: sum.normalize(),
            steradian,
            extent_rad2,
            clipped: block.clipped,
        })
    }

    /// Squared angular extent of a block: along the radius dθ, across it sin θ/ρ · ds.
    fn extent_rad2(&self, centre: [f64; 2], middle: &Reflection) -> f64 {
        let h = self.block_px as f64 * 0.5;
        // Where a block is a small part of the sphere, the slope in its middle tells it to a hundredth, if pixels are
        // square.
        let even = 4.0 * h * h * middle.turn_rad2_per_px2;
        if even < EVEN_RAD2 && (self.geometry.view().pixel_aspect - 1.0).abs() < SQUARE {
            return even;
        }
        let along = |dx: f64, dy: f64| {
            let other = self
                .geometry
                .reflect([centre[0] + dx, centre[1] + dy])
                .or_else(|| self.geometry.reflect([centre[0] - dx, centre[1] - dy]));
            other.map_or(0.0, |o| 4.0 * (o.direction - middle.direction).norm_squared())
        };
        along(h, 0.0) + along(0.0, h)
    }
}

/// Points along a block's side that lie no further apart than [`SPACING_DEG`].
fn points_per_side(extent_rad2: f64) -> usize {
    let extent = extent_rad2.sqrt().to_degrees();
    ((extent / SPACING_DEG).ceil() as usize).clamp(1, 8)
}
