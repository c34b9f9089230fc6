//! A verdict as a shape, the same on every page.

use super::canvas::{Area, Canvas, FAINT_INK, INK, Pen};
use crate::findings::Verdict;

/// Full square, hollow diamond, hollow ring, dash; about 13 px wide around the place.
pub(super) fn verdict_mark(canvas: &mut Canvas, [x, y]: [f32; 2], verdict: Verdict) {
    match verdict {
        Verdict::Mismatch => canvas.fill(Area::new(x - 6.0, y - 6.0, 12.0, 12.0), INK),
        Verdict::Unsure => {
            canvas.polygon(&[[x, y - 7.0], [x + 7.0, y], [x, y + 7.0], [x - 7.0, y]], Pen::new(INK, 1.8));
        }
        Verdict::Match => canvas.circle([x, y], 5.5, Pen::new(INK, 1.8)),
        Verdict::NotGiven => canvas.polyline(&[[x - 5.0, y], [x + 5.0, y]], Pen::new(FAINT_INK, 1.8)),
    }
}
