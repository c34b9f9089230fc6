//! Numbered marks for lights, legible on any background: dark ink within a light halo.

use super::LightMark;
use super::canvas::{Area, Canvas, INK, PAPER, Pen};
use super::lettering::{Face, Lettering, Style};

/// Marks drawn for a side; weaker lights would only hide the picture.
pub(super) const MARKS_SHOWN: usize = 9;

const TAG: Style = Style::new(Face::Fixed, 15.0, PAPER);
const HALO_WIDTH: f32 = 5.5;
const LINE_WIDTH: f32 = 1.8;

/// The shape of a mark tells whose light it is where both sides share a panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Photographed.
    Ring,
    /// CG.
    Square,
    /// Photographed and missing in the CG: a dashed ring where it would be.
    Ghost,
}

/// Where a light's number stands; lights of two sides at one place keep their numbers apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beside {
    /// Above, to the right.
    Above,
    /// Below, to the right.
    Below,
}

impl Beside {
    /// The place that goes with a shape in a shared panel.
    pub(super) fn of(shape: Shape) -> Self {
        match shape {
            Shape::Ring => Self::Above,
            Shape::Square | Shape::Ghost => Self::Below,
        }
    }
}

/// A closed outline with halo around `middle`, where a clipped light has a dot.
pub(super) fn outline(canvas: &mut Canvas, points: &[[f32; 2]], middle: [f32; 2], clipped: bool) {
    canvas.polygon(points, Pen::new(PAPER, HALO_WIDTH).opacity(0.9));
    canvas.polygon(points, Pen::new(INK, LINE_WIDTH));
    if clipped {
        dot(canvas, middle);
    }
}

/// A mark of fixed size around `at`.
pub(super) fn symbol(canvas: &mut Canvas, at: [f32; 2], radius: f32, shape: Shape, clipped: bool) {
    match shape {
        Shape::Ring => {
            canvas.circle(at, radius, Pen::new(PAPER, HALO_WIDTH).opacity(0.9));
            canvas.circle(at, radius, Pen::new(INK, LINE_WIDTH));
            if clipped {
                dot(canvas, at);
            }
        }
        Shape::Ghost => {
            canvas.circle(at, radius, Pen::new(PAPER, HALO_WIDTH).opacity(0.9));
            canvas.circle(at, radius, Pen::new(INK, LINE_WIDTH).dashed(true));
        }
        Shape::Square => {
            let [x, y] = at;
            // Wide enough for the other side's ring to show within it.
            let r = radius * 1.45;
            outline(canvas, &[[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]], at, clipped);
        }
    }
}

/// A clipped light is brighter than the picture holds: a dot in its middle.
fn dot(canvas: &mut Canvas, at: [f32; 2]) {
    canvas.circle(at, 1.5, Pen::new(INK, 3.0));
}

/// The number of a light beside its mark of `radius`, kept within `panel`.
pub(super) fn tag(
    canvas: &mut Canvas,
    lettering: &Lettering,
    at: [f32; 2],
    radius: f32,
    text: &str,
    beside: Beside,
    panel: Area,
) {
    let (width, height) = (lettering.width(text, TAG).ceil() + 8.0, 19.0);
    let reach = radius * 0.75;
    let right = at[0] + reach + 2.0;
    let x = if right + width > panel.right() { at[0] - reach - 2.0 - width } else { right };
    let (above, below) = (at[1] - reach - height, at[1] + reach);
    let is_above = (beside == Beside::Above && above >= panel.y) || below + height > panel.bottom();
    let (x, y) = (x.max(panel.x).round(), if is_above { above } else { below }.round());
    canvas.fill(Area::new(x, y, width, height), INK);
    lettering.text(canvas, x + 4.0, y + 15.0, text, TAG);
}

/// The lights that are marked, each with its number. One without a usable direction keeps its number unmarked.
pub(super) fn numbered(lights: &[LightMark]) -> impl Iterator<Item = (usize, &LightMark)> {
    let usable = |light: &LightMark| light.azimuth_deg.abs() <= 360.0 && light.elevation_deg.abs() <= 90.0;
    (1..).zip(lights).take(MARKS_SHOWN).filter(move |(_, light)| usable(light))
}
