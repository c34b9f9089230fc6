//! The sphere's picture as logarithms of luminance, at the resolution at which faults are looked for.

use super::grid::Grid;
use crate::base::robust::median_of;
use crate::image::Frame;
use crate::sphere::Outline;

/// Pixels this close to the rim mix with what stands behind the sphere.
const RIM_PX: f64 = 1.5;

/// The logarithm bends to a straight line below this fraction of the median, so that noise in blacks stays small.
const FLOOR_OF_MEDIAN: f32 = 0.02;

/// ln of luminance by square blocks of pixels; NaN where a pixel is unknown, clipped or off the frame.
pub(super) struct Cells {
    pub(super) block_px: f64,
    origin_px: [f64; 2],
    pub(super) log: Grid,
}

impl Cells {
    /// The sphere's radius becomes `most_radius_cells` at most: bounds the time on large spheres.
    pub(super) fn gather(frame: &Frame, outline: &Outline, most_radius_cells: f64) -> Self {
        let block = (outline.semi_a / most_radius_cells).ceil().max(1.0) as usize;
        let reach = (outline.semi_a / block as f64).ceil() as usize + 2;
        let side = 2 * reach;
        let half = (reach * block) as f64;
        let origin = [(outline.centre_x - half).floor() as i64, (outline.centre_y - half).floor() as i64];
        let mut cells = Self {
            block_px: block as f64,
            origin_px: origin.map(|o| o as f64),
            log: Grid { side, values: Vec::with_capacity(side * side) },
        };
        // A cell counts where all of it lies inside the rim's blur.
        let limit = 1.0 - (RIM_PX + 0.5 * block as f64) / outline.semi_b;
        for row in 0..side {
            for column in 0..side {
                let corner = [origin[0] + (column * block) as i64, origin[1] + (row * block) as i64];
                let inside = outline.normalised_radius(cells.centre_px(column, row)) < limit;
                cells.log.values.push(if inside { mean_luminance(frame, corner, block) } else { f32::NAN });
            }
        }
        cells.take_logarithms();
        cells
    }

    fn take_logarithms(&mut self) {
        let mut known: Vec<f32> = self.log.values.iter().copied().filter(|v| v.is_finite()).collect();
        if known.is_empty() {
            return;
        }
        let median = median_of(&mut known) as f32;
        let floor = (median * FLOOR_OF_MEDIAN).max(f32::MIN_POSITIVE);
        for value in self.log.values.iter_mut().filter(|value| value.is_finite()) {
            *value = (value.max(0.0) + floor).ln();
        }
    }

    /// Position of a frame point in cells; the first cell's centre is (0, 0).
    pub(super) fn place(&self, point_px: [f64; 2]) -> [f32; 2] {
        [0, 1].map(|axis| ((point_px[axis] - self.origin_px[axis]) / self.block_px - 0.5) as f32)
    }

    /// Frame point of a cell's centre.
    pub(super) fn centre_px(&self, column: usize, row: usize) -> [f64; 2] {
        let at = |axis: usize, i: usize| self.origin_px[axis] + (i as f64 + 0.5) * self.block_px;
        [at(0, column), at(1, row)]
    }

    /// Between cells; see [`Grid::between`].
    #[inline]
    pub(super) fn at(&self, place: [f32; 2]) -> f32 {
        self.log.between(place)
    }
}

/// Mean luminance of a block; NaN where any of it is unknown or clipped.
fn mean_luminance(frame: &Frame, corner: [i64; 2], block: usize) -> f32 {
    // The weights of the working space serve in any space: only ratios beside each other count.
    let weights = crate::colour::WORKING_LUMINANCE.map(|w| w as f32);
    let mut sum = 0.0;
    for y in corner[1]..corner[1] + block as i64 {
        for x in corner[0]..corner[0] + block as i64 {
            let Some(rgb) = frame.pixel(x, y) else { return f32::NAN };
            if frame.clip_level.is_some_and(|level| rgb.iter().zip(level).any(|(v, c)| *v >= c)) {
                return f32::NAN;
            }
            sum += rgb[0] * weights[0] + rgb[1] * weights[1] + rgb[2] * weights[2];
        }
    }
    sum / (block * block) as f32
}
