//! The list of a side's lights.

use super::canvas::{Area, Canvas, FAINT_INK, INK, Pen, RULE};
use super::lettering::{Face, Lettering, SMALL, Style};
use super::light_marks;
use super::{LightMark, ShownSphere};
use crate::findings::numbers::fixed;

const TITLE: Style = Style::new(Face::Plain, 17.0, INK);
const LIGHT: Style = Style::new(Face::Fixed, 16.0, INK);
const COLUMNS: Style = LIGHT.inked(FAINT_INK);
const ROW_HEIGHT: f32 = 21.0;

/// The lights of one side in `area`: number, azimuth, elevation, radius (all in degrees), share and label; what does
/// not fit is counted.
pub(super) fn draw_light_list(
    canvas: &mut Canvas,
    lettering: &Lettering,
    sphere: &ShownSphere,
    letter: &str,
    area: Area,
) {
    let title = lettering.fitted(&sphere.title, TITLE, area.width);
    lettering.text(canvas, area.x, area.y + 14.0, &title, TITLE);
    lettering.text(canvas, area.x, area.y + 33.0, "    azim. elev. rad. share", COLUMNS);
    let rule = area.y + 39.0;
    canvas.polyline(&[[area.x, rule], [area.right(), rule]], Pen::new(RULE, 1.0));
    let mut y = rule + 17.0;
    let rows = (((area.bottom() - y) / ROW_HEIGHT).floor().max(0.0) as usize).min(light_marks::MARKS_SHOWN);
    for (number, light) in light_marks::numbered(&sphere.lights).take(rows) {
        let row = lettering.fitted(&row_words(letter, number, light), LIGHT, area.width);
        lettering.text(canvas, area.x, y, &row, LIGHT);
        y += ROW_HEIGHT;
    }
    if let Some(words) = rest_words(sphere.lights.len(), rows) {
        lettering.text(canvas, area.x, y, &words, SMALL);
    }
}

fn row_words(letter: &str, number: usize, light: &LightMark) -> String {
    let radius = light.angular_radius_deg.map_or_else(|| "-".to_owned(), |radius| fixed(radius, 1, false));
    let (azimuth, elevation) = (fixed(light.azimuth_deg, 0, true), fixed(light.elevation_deg, 0, true));
    format!(
        "{:<3} {azimuth:>4} {elevation:>5} {radius:>4} {:>6} {}",
        format!("{letter}{number}"),
        light.share,
        light.label
    )
}

fn rest_words(lights: usize, rows: usize) -> Option<String> {
    match lights.saturating_sub(rows) {
        0 if lights == 0 => Some("no light stands out".to_owned()),
        0 => None,
        rest => Some(format!("and {rest} weaker")),
    }
}
