//! The list of a side's lights.

use super::EvidenceSide;
use super::LightMark;
use super::canvas::{Area, Canvas, FAINT_INK, Pen, RULE};
use super::lettering::{Face, Lettering, SMALL, Style};
use super::light_marks;
use crate::report::wording::fixed;

const ROW: Style = Style::new(Face::Fixed, 14.0, super::canvas::INK);
const ROW_HEIGHT: f32 = 19.0;

/// The lights of one side in `area`: number, azimuth, elevation, radius and label; what does not fit is counted.
pub(super) fn draw_light_list(canvas: &mut Canvas, lettering: &Lettering, side: &EvidenceSide, area: Area) {
    let title = lettering.fitted(&side.title, ROW, area.width);
    lettering.text(canvas, area.x, area.y + 14.0, &title, ROW);
    lettering.text(canvas, area.x, area.y + 33.0, " #  azim.  elev. radius", SMALL.inked(FAINT_INK));
    let rule = area.y + 39.0;
    canvas.polyline(&[[area.x, rule], [area.right(), rule]], Pen::new(RULE, 1.0));
    let mut y = rule + 17.0;
    let rows = (((area.bottom() - y) / ROW_HEIGHT).floor().max(0.0) as usize).min(light_marks::MARKS_SHOWN);
    for (number, light) in light_marks::numbered(&side.lights).take(rows) {
        let row = lettering.fitted(&row_words(number, light), SMALL.inked(super::canvas::INK), area.width);
        lettering.text(canvas, area.x, y, &row, SMALL.inked(super::canvas::INK));
        y += ROW_HEIGHT;
    }
    if let Some(words) = rest_words(side.lights.len(), rows) {
        lettering.text(canvas, area.x, y, &words, SMALL);
    }
}

fn row_words(number: usize, light: &LightMark) -> String {
    let radius = light.angular_radius_deg.map_or_else(|| "-".to_owned(), |radius| fixed(radius, 1, false));
    let (azimuth, elevation) = (fixed(light.azimuth_deg, 1, true), fixed(light.elevation_deg, 1, true));
    let clipped = if light.clipped { " clipped" } else { "" };
    format!("{number:>2} {azimuth:>6} {elevation:>6} {radius:>6}  {}{clipped}", light.label)
}

fn rest_words(lights: usize, rows: usize) -> Option<String> {
    match lights.saturating_sub(rows) {
        0 if lights == 0 => Some("no light stands out".to_owned()),
        0 => None,
        rest => Some(format!("and {rest} weaker")),
    }
}
