//! A verdict as a shape, the same in every picture.

use super::canvas::{Area, Canvas, FAINT_INK, INK, Pen};
use crate::findings::Verdict;

/// Heavy cross, hollow diamond, tick, dash; about 13 px wide around the place.
pub(super) fn verdict_mark(canvas: &mut Canvas, at: [f32; 2], verdict: Verdict) {
    sized_mark(canvas, at, verdict, 6.0);
}

/// The same marks, `half` px to each side.
pub(super) fn sized_mark(canvas: &mut Canvas, [x, y]: [f32; 2], verdict: Verdict, half: f32) {
    match verdict {
        Verdict::Mismatch => {
            for arm in [[[x - half, y - half], [x + half, y + half]], [[x - half, y + half], [x + half, y - half]]] {
                canvas.polyline(&arm, Pen::new(INK, 0.5 * half));
            }
        }
        Verdict::Unsure => {
            let reach = half + 1.0;
            canvas.polygon(&[[x, y - reach], [x + reach, y], [x, y + reach], [x - reach, y]], Pen::new(INK, 1.8));
        }
        Verdict::Match => {
            let tick = [[x - half, y], [x - 0.25 * half, y + 0.75 * half], [x + half, y - 0.85 * half]];
            canvas.polyline(&tick, Pen::new(INK, 1.8));
        }
        Verdict::NotGiven => canvas.polyline(&[[x - half, y], [x + half, y]], Pen::new(FAINT_INK, 1.8)),
    }
}

/// A hollow triangle: what came from set does not fit.
pub(super) fn set_problem_mark(canvas: &mut Canvas, [x, y]: [f32; 2]) {
    canvas.polygon(&[[x, y - 7.0], [x + 7.5, y + 6.0], [x - 7.5, y + 6.0]], Pen::new(INK, 1.8));
    canvas.fill(Area::new(x - 1.0, y - 2.0, 2.0, 5.0), INK);
}
