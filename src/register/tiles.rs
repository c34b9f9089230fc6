//! The last step of registration at full resolution, on a few well-textured tiles: cheap, and free of what the cells
//! average away.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::NotRegistered;
use super::backdrop::log_luminance;
use super::field::{Field, SphereMask};
use super::patch::{FULL, Patch, RIM, SIDE};
use super::plane::Plane;
use super::refine::{Refined, refine};
use super::warp::{Registration, Warp};
use super::warp_fit::{SETTLED_PX, fit_warp};
use crate::base::parallel;
use crate::colour::WORKING_LUMINANCE;
use crate::image::Frame;

/// Squares that were cut out of one frame: the same ones are asked for under every model of the camera's motion.
#[derive(Debug, Default)]
pub(super) struct Squares(Mutex<HashMap<[i64; 2], Arc<Plane>>>);

impl Squares {
    fn get_or(&self, corner: [i64; 2], make: impl FnOnce() -> Plane) -> Arc<Plane> {
        let held = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(square) = held().get(&corner) {
            return Arc::clone(square);
        }
        // Not under the lock: two may make the same one.
        let square = Arc::new(make());
        held().insert(corner, Arc::clone(&square));
        square
    }
}

/// Log luminance of single pixels of one frame, counted from the corner of the field's first cell.
pub(super) struct Pixels<'a> {
    frame: &'a Frame,
    luminance_row: [f32; 3],
    lift: f32,
    mask: Option<&'a SphereMask>,
    corner: [i64; 2],
    squares: &'a Squares,
}

impl<'a> Pixels<'a> {
    /// Pixels of a frame without those under the mask. The field has whole pixels.
    pub(super) fn new(
        frame: &'a Frame,
        field: &Field,
        lift: f32,
        mask: Option<&'a SphereMask>,
        squares: &'a Squares,
    ) -> Self {
        let corner = field.corner_px().map(|c| c.round() as i64);
        let row = nalgebra::RowVector3::from(WORKING_LUMINANCE) * frame.space.to_working;
        Self { frame, luminance_row: [row[0] as f32, row[1] as f32, row[2] as f32], lift, mask, corner, squares }
    }

    pub(super) fn at(&self, x: i64, y: i64) -> f32 {
        let (x, y) = (x + self.corner[0], y + self.corner[1]);
        let Some(rgb) = self.frame.pixel(x, y) else { return f32::NAN };
        if self.mask.is_some_and(|m| m.covers([x as f64 + 0.5, y as f64 + 0.5])) {
            return f32::NAN;
        }
        let y: f32 = rgb.iter().zip(self.luminance_row).map(|(c, w)| c * w).sum();
        log_luminance(y, self.lift)
    }

    /// Linear luminance; NaN where the pixel is missing, masked or clipped.
    pub(super) fn linear_at(&self, x: i64, y: i64) -> f32 {
        let (x, y) = (x + self.corner[0], y + self.corner[1]);
        let Some(rgb) = self.frame.pixel(x, y) else { return f32::NAN };
        let clipped = self.frame.clip_level.is_some_and(|level| (0..3).any(|c| rgb[c] >= level[c]));
        if clipped || self.mask.is_some_and(|m| m.covers([x as f64 + 0.5, y as f64 + 0.5])) {
            return f32::NAN;
        }
        rgb.iter().zip(self.luminance_row).map(|(c, w)| c * w).sum()
    }

    /// The square of a patch with its rim, smoothed; `corner` is the patch's own first pixel.
    fn square(&self, corner: [i64; 2]) -> Arc<Plane> {
        // One pixel more on each side for the smoothing.
        let start = corner.map(|c| c - RIM as i64 - 1);
        let at = |x: usize, y: usize| self.at(start[0] + x as i64, start[1] + y as i64);
        self.squares.get_or(corner, || Plane::from_fn(FULL + 2, FULL + 2, at).smoothed())
    }
}

/// Refines a shift at full resolution; `plane` (the plate's cells) tells where there is texture.
pub(super) fn refine_on_tiles(
    plate: &Pixels<'_>,
    mirror: &Pixels<'_>,
    plane: &Plane,
    field: &Field,
    start_px: [f64; 2],
) -> Option<Refined> {
    let corners = best_tiles(plane, field, start_px);
    let cut = |offset: [i64; 2]| -> Vec<Patch> {
        parallel::filter_map(corners.len(), |i| cut_tile(plate, mirror, corners[i], offset))
    };
    refine(&cut, start_px)
}

/// Refines a map at full resolution, the model by evidence.
pub(super) fn fit_warp_on_tiles(
    plate: &Pixels<'_>,
    mirror: &Pixels<'_>,
    plane: &Plane,
    field: &Field,
    start: &Warp,
) -> Result<Registration, NotRegistered> {
    let size = [field.width, field.height].map(|cells| cells as f64 * field.cell_px[0]);
    let corners = best_tiles(plane, field, start.displacement(size.map(|s| 0.5 * s)));
    let cut = |corner: [i64; 2], offset: [i64; 2]| cut_tile(plate, mirror, corner, offset);
    fit_warp(&cut, &corners, start, size, SETTLED_PX)
}

fn cut_tile(plate: &Pixels<'_>, mirror: &Pixels<'_>, corner: [i64; 2], offset: [i64; 2]) -> Option<Patch> {
    let (f, m) = (plate.square(corner), mirror.square([corner[0] + offset[0], corner[1] + offset[1]]));
    let inset = RIM as i64 + 1;
    Patch::cut(|x, y| f.at(x + inset, y + inset), |x, y| m.at(x + inset, y + inset))
}

/// Top-left pixels of the best-textured tile of each part of the field whose counterpart lies inside it too.
pub(super) fn best_tiles(plane: &Plane, field: &Field, shift_px: [f64; 2]) -> Vec<[i64; 2]> {
    let cell_px = field.cell_px[0];
    let size = [field.width, field.height].map(|cells| cells as f64 * cell_px);
    let side_cells = (SIDE as f64 / cell_px).ceil() as i64;
    let fits = |corner: [i64; 2]| {
        let fits_along = |axis: usize| {
            let moved = corner[axis] as f64 + shift_px[axis];
            moved >= 0.0 && moved + SIDE as f64 <= size[axis]
        };
        fits_along(0) && fits_along(1)
    };
    super::best_of_parts(size.map(|s| s as usize), |corner| {
        let cell = corner.map(|c| (c as f64 / cell_px).round() as i64);
        if fits(corner) { super::detail_of(plane, cell, side_cells, 1) } else { 0.0 }
    })
}
