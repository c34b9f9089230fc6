//! Numbered marks for lights, legible on any background: dark ink within a light halo.

use super::LightMark;
use super::canvas::{Area, Canvas, INK, PAPER, Pen};
use super::lettering::{Face, Lettering, Style};

/// Marks drawn for a side; weaker lights would only hide the picture.
pub(super) const MARKS_SHOWN: usize = 9;

const TAG: Style = Style::new(Face::Fixed, 13.0, PAPER);
const HALO_WIDTH: f32 = 4.0;
const LINE_WIDTH: f32 = 1.8;

/// The shape of a mark tells whose light it is where both sides share a panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Plate side, and each side in its own panels.
    Ring,
    /// CG side in a shared panel.
    Square,
}

/// A closed outline with halo; dashed for a clipped light.
pub(super) fn outline(canvas: &mut Canvas, points: &[[f32; 2]], clipped: bool) {
    canvas.polygon(points, Pen::new(PAPER, HALO_WIDTH).opacity(0.9));
    canvas.polygon(points, Pen::new(INK, LINE_WIDTH).dashed(clipped));
}

/// A mark of fixed size around `at`.
pub(super) fn symbol(canvas: &mut Canvas, at: [f32; 2], radius: f32, shape: Shape, clipped: bool) {
    match shape {
        Shape::Ring => {
            canvas.circle(at, radius, Pen::new(PAPER, HALO_WIDTH).opacity(0.9));
            canvas.circle(at, radius, Pen::new(INK, LINE_WIDTH).dashed(clipped));
        }
        Shape::Square => {
            let [x, y] = at;
            let r = radius * 0.9;
            outline(canvas, &[[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]], clipped);
        }
    }
}

/// The number of a light beside its mark of `radius`, kept within `panel`.
pub(super) fn tag(canvas: &mut Canvas, lettering: &Lettering, at: [f32; 2], radius: f32, text: &str, panel: Area) {
    let width = lettering.width(text, TAG).ceil() + 8.0;
    let height = 17.0;
    let beside = at[0] + radius * 0.75 + 2.0;
    let x = if beside + width > panel.right() { at[0] - radius * 0.75 - 2.0 - width } else { beside };
    let above = at[1] - radius * 0.75 - height;
    let y = if above < panel.y { at[1] + radius * 0.75 } else { above };
    let (x, y) = (x.max(panel.x).round(), y.min(panel.bottom() - height).round());
    canvas.fill(Area::new(x, y, width, height), INK);
    lettering.text(canvas, x + 4.0, y + 13.0, text, TAG);
}

/// The lights that are marked, each with its number.
pub(super) fn numbered(lights: &[LightMark]) -> impl Iterator<Item = (usize, &LightMark)> {
    lights.iter().take(MARKS_SHOWN).enumerate().map(|(index, light)| (index + 1, light))
}
