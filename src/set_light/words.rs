//! The record as text.

use std::fmt::Write;

use textwrap::{Options, fill};

use super::record::{LightRecord, Parts, SetLightDocument, SetLightRecord};
use crate::printable_text;

/// Columns of the page.
const COLUMNS: usize = 80;

/// The text of one shot's record.
pub fn render_text(document: &SetLightDocument) -> String {
    let mut text = format!("THE LIGHT OF THE SET, SHOT {}\n", printable_text(&document.shot));
    if let Some(error) = &document.error {
        paragraph(&mut text, "ERROR: ", &error.lines());
    }
    for record in &document.mirrors {
        mirror(&mut text, record);
    }
    text.push('\n');
    paragraph(&mut text, "Axes: ", &document.frame_of_reference);
    paragraph(
        &mut text,
        "Light: ",
        "luminance summed over solid angle, in the plate's scene-linear units; directions are camera axes: azimuth 0 \
         from the camera side, + frame right; elevation + above.",
    );
    for warning in &document.warnings {
        paragraph(&mut text, "Warning: ", &printable_text(warning));
    }
    for assumption in &document.assumptions {
        paragraph(&mut text, "Assumed: ", &printable_text(assumption));
    }
    text
}

fn mirror(text: &mut String, record: &SetLightRecord) {
    let _ = writeln!(text, "\nMIRROR {}", printable_text(&record.mirror));
    paragraph(text, "  of the light: ", &parts(&record.of_light));
    paragraph(text, "  of all directions: ", &parts(&record.of_directions));
    let bound = if record.light_bound.is_some() { "at least " } else { "" };
    let total = format!("{bound}{} (sd {:.2} stops)", short(record.light), record.light_sd_stops);
    paragraph(text, "  light in all: ", &total);
    if record.is_unsure() {
        paragraph(
            text,
            "  UNSURE: ",
            "a light is clipped by an unknown amount, or more than a tenth of the light is at a ceiling or filled in: a \
             start, but no measurement",
        );
    }
    if let (Some(blur), Some(sd)) = (record.surface_blur_deg, record.surface_blur_deg_sd) {
        let said = format!(
            "half of a point's light lies within {blur:.1} +/- {sd:.1} deg; the map is as soft as that, and nothing is \
             sharpened"
        );
        paragraph(text, "  the sphere's surface blurs: ", &said);
    }
    if record.lights.is_empty() {
        paragraph(text, "  lights: ", "none stands out");
    }
    for (place, light) in record.lights.iter().enumerate() {
        paragraph(text, &format!("  light {}: ", place + 1), &light_words(light, record.restored_from.as_deref()));
    }
}

/// What there is nothing of is left out.
fn parts(parts: &Parts) -> String {
    let list = [
        (parts.measured, "measured"),
        (parts.other_mirror, "from another mirror"),
        (parts.restored, "clipped and restored"),
        (parts.bounded, "clipped, a lower bound"),
        (parts.filled, "filled in"),
    ];
    let said =
        list.into_iter().filter(|(part, _)| *part > 0.0).map(|(part, word)| format!("{:.1} % {word}", 100.0 * part));
    said.collect::<Vec<_>>().join(", ")
}

fn light_words(light: &LightRecord, restored_from: Option<&str>) -> String {
    let mut words = format!(
        "azimuth {:+.1}, elevation {:+.1} (+/- {:.1}) deg, radius {}{:.1} deg, illuminance {}{} (+/- {:.1} %)",
        light.azimuth_deg,
        light.elevation_deg,
        light.direction_sd_deg,
        if light.angular_radius_deg_bound.is_some() { "at most " } else { "" },
        light.angular_radius_deg,
        if light.illuminance_bound.is_some() { "at least " } else { "" },
        short(light.illuminance),
        100.0 * light.illuminance_sd / light.illuminance.max(1e-30)
    );
    if let Some(mm) = light.distance_mm {
        let _ = match light.distance_mm_sd {
            Some(sd) => write!(words, ", {:.2} +/- {:.2} m away", mm / 1000.0, sd / 1000.0),
            None => write!(words, ", at least {:.1} m away", mm / 1000.0),
        };
    }
    if let (Some(stops), Some(sd)) = (light.restored_stops, light.restored_stops_sd) {
        let by = printable_text(restored_from.unwrap_or_default());
        let _ = write!(words, "; clipped, {stops:.2} +/- {sd:.2} stops restored by grey sphere {by}");
    } else if light.clipped {
        words.push_str("; clipped, and no grey sphere tells by how much");
    }
    if light.on_rim {
        words.push_str("; on the sphere's rim, where part of it may be missing");
    }
    match (&light.prim, &light.in_dome_because) {
        (Some(prim), _) => {
            let _ = write!(words, " -> {} {prim}", light.kind.as_deref().unwrap_or_default());
        }
        (None, Some(why)) => {
            let _ = write!(words, " -> stays in the dome: {why}");
        }
        (None, None) => {}
    }
    words
}

/// Three digits.
fn short(value: f64) -> String {
    let digits = if value.abs() >= 100.0 {
        0
    } else if value.abs() >= 10.0 {
        1
    } else if value.abs() >= 0.1 {
        2
    } else {
        4
    };
    format!("{value:.digits$}")
}

/// Filled text whose further lines stand in by four.
fn paragraph(text: &mut String, before: &str, said: &str) {
    *text += &fill(said, Options::new(COLUMNS).initial_indent(before).subsequent_indent("      "));
    text.push('\n');
}
