//! The grid of cells that two frames of one view share, and what of the mirror frame is not background.

use crate::image::Frame;
use crate::sphere::Outline;

/// Longest side of the grid in cells, about.
const GRID_SIDE: usize = 512;
/// Least side of a cell in pixels of the smaller frame, where the frame is large enough: noise averages out.
const LEAST_CELL_PX: usize = 4;
/// Cells needed in both directions.
const LEAST_CELLS: usize = 24;
/// How far the sphere's mask reaches beyond its outline: rim, motion blur and contact shadow.
const SPHERE_MARGIN: f64 = 1.15;
/// Proportions may differ by this much (a row more or less after scaling).
const PROPORTION_TOLERANCE: f64 = 0.01;

/// A grid of square cells over the display windows of plate and mirror frame, which show the same field of view, or over
/// the part of it that was read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    /// Columns of cells.
    pub(super) width: usize,
    /// Rows of cells.
    pub(super) height: usize,
    /// Side of a cell in pixels of the plate and of the mirror frame.
    pub(super) cell_px: [f64; 2],
    /// Columns and rows of cells that the display window has before the first of these.
    pub(super) skipped: [usize; 2],
    /// Number of cells of the display window.
    pub(super) of_frame: usize,
}

impl Field {
    /// The grid for two frames, or why they cannot be laid over each other.
    pub(super) fn shared(plate: &Frame, mirror: &Frame) -> Result<Self, String> {
        let [p, m] = [plate.size, mirror.size];
        if p.width == 0 || p.height == 0 || m.width == 0 || m.height == 0 {
            return Err("a frame is empty".to_owned());
        }
        let scale = m.width as f64 / p.width as f64;
        let proportions = m.height as f64 / p.height as f64 / scale;
        if (proportions - 1.0).abs() > PROPORTION_TOLERANCE
            || (plate.pixel_aspect / mirror.pixel_aspect - 1.0).abs() > PROPORTION_TOLERANCE
        {
            return Err(format!(
                "plate ({} × {}) and mirror frame ({} × {}) have different proportions, so they do not show the same field",
                p.width, p.height, m.width, m.height
            ));
        }
        let cell = cell_side(p.width.min(m.width), p.height.min(m.height)) as f64;
        let cell_px = if scale >= 1.0 { [cell, cell * scale] } else { [cell / scale, cell] };
        let cells = |a: usize, b: usize| (a as f64 / cell_px[0] + 1e-6).min(b as f64 / cell_px[1] + 1e-6) as usize;
        let (width, height) = (cells(p.width, m.width), cells(p.height, m.height));
        let field = Self { width, height, cell_px, skipped: [0, 0], of_frame: width * height };
        if field.width.min(field.height) < LEAST_CELLS {
            return Err(format!("the frames are too small: at least {LEAST_CELLS} pixels are needed each way"));
        }
        Ok(field)
    }

    /// The cells that both frames have whole; all of them where these are too few to compare.
    pub(super) fn where_read(self, plate: &Frame, mirror: &Frame) -> Self {
        let present = |side: usize, start: i64, length: usize| {
            let end = start.saturating_add_unsigned(length as u64);
            [(start as f64 / self.cell_px[side] - 1e-6).ceil(), (end as f64 / self.cell_px[side] + 1e-6).floor()]
        };
        let common = |a: [f64; 2], b: [f64; 2], cells: usize| {
            let inside = |v: f64| v.clamp(0.0, cells as f64) as usize;
            (inside(a[0].max(b[0])), inside(a[1].min(b[1])))
        };
        let (p, m) = (plate.data, mirror.data);
        let (left, right) = common(present(0, p.x, p.width), present(1, m.x, m.width), self.width);
        let (top, bottom) = common(present(0, p.y, p.height), present(1, m.y, m.height), self.height);
        let (width, height) = (right.saturating_sub(left), bottom.saturating_sub(top));
        if width.min(height) < LEAST_CELLS { self } else { Self { width, height, skipped: [left, top], ..self } }
    }

    /// Where the first cell begins, in pixels of the plate.
    pub(super) fn corner_px(&self) -> [f64; 2] {
        self.skipped.map(|cells| cells as f64 * self.cell_px[0])
    }

    /// Number of cells.
    pub(super) fn cells(&self) -> usize {
        self.width * self.height
    }

    /// Plate and mirror frame have pixels of one size.
    pub(super) fn same_pixels(&self) -> bool {
        (self.cell_px[0] - self.cell_px[1]).abs() < 1e-9
    }
}

/// Side of a cell in whole pixels of a frame.
fn cell_side(width: usize, height: usize) -> usize {
    let wanted = width.max(height).div_ceil(GRID_SIDE).max(LEAST_CELL_PX);
    wanted.min(width.min(height) / LEAST_CELLS).max(1)
}

/// The part of the mirror frame that the sphere and its stand cover, in pixels of that frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct SphereMask {
    outline: Outline,
}

impl SphereMask {
    pub(super) fn of(outline: &Outline) -> Self {
        let grown =
            Outline { semi_a: outline.semi_a * SPHERE_MARGIN, semi_b: outline.semi_b * SPHERE_MARGIN, ..*outline };
        Self { outline: grown }
    }

    /// Whether a point lies on the sphere with its margin or in the column below it, down to the frame's edge.
    pub(super) fn covers(&self, point_px: [f64; 2]) -> bool {
        let o = &self.outline;
        let reach = o.semi_a.max(o.semi_b);
        let (across, down) = ((point_px[0] - o.centre_x).abs(), point_px[1] - o.centre_y);
        // The plain comparisons settle most points; only the rest needs the ellipse.
        across <= reach && down >= -reach && (down >= 0.0 || o.normalised_radius(point_px) <= 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sphere_margin_and_the_column_below_are_covered() {
        let mask = SphereMask::of(&Outline::circle(100.0, 50.0, 20.0));
        assert!(mask.covers([100.0, 28.0]) && !mask.covers([100.0, 26.0]));
        assert!(mask.covers([120.0, 900.0]) && !mask.covers([124.0, 900.0]) && !mask.covers([120.0, 30.0]));
    }

    #[test]
    fn a_part_of_a_frame_has_the_cells_that_both_frames_show_whole() {
        let frame = |x: i64, y: i64, width: usize, height: usize| {
            let mut frame = crate::register::test_scene::frame([320, 240], |_, _| [0.5; 3]);
            frame.data = crate::image::DataWindow { x, y, width, height };
            frame
        };
        let (plate, mirror) = (frame(10, 20, 200, 150), frame(0, 30, 205, 300));
        let field = Field::shared(&plate, &mirror).unwrap();
        assert_eq!((field.width, field.height), (80, 60));
        let part = field.where_read(&plate, &mirror);
        assert_eq!((part.skipped, part.width, part.height), ([3, 8], 48, 34));
        assert!((part.corner_px()[1] - 32.0).abs() < 1e-9);
        let apart = field.where_read(&plate, &frame(190, 0, 130, 240));
        assert_eq!((apart.skipped, apart.width), ([0, 0], 80), "too little in common");
    }

    #[test]
    fn cells_have_whole_pixels_and_stay_near_the_grid_side() {
        assert_eq!(cell_side(4096, 2160), 8);
        assert_eq!(cell_side(512, 512), 4);
        assert_eq!(cell_side(40, 30), 1);
    }
}
