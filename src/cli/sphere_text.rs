//! What one frame's sphere says, for people.

use super::sphere_document::SphereDocument;
use crate::findings::{InputRecord, LightReport, SphereReport};
use crate::printable_text;

/// The document as text of at most 80 columns where names and messages allow.
pub(super) fn render(document: &SphereDocument) -> String {
    let mut lines: Vec<String> = document.inputs.iter().map(input_line).collect();
    lines.extend(document.sphere.iter().flat_map(sphere_lines));
    if document.candidates.len() > 1 {
        lines.push("\nSeveral spheres fit equally well; add one of these:".to_owned());
        lines.extend(document.candidates.iter().map(|outline| format!("  --outline {}", outline_words(outline))));
    }
    lines.extend(document.warnings.iter().map(|warning| format!("\nWarning: {}", printable_text(warning))));
    lines.into_iter().map(|line| line + "\n").collect()
}

fn input_line(input: &InputRecord) -> String {
    format!(
        "{}: {}x{}, {} (from {}), {} (from {})",
        printable_text(&input.file),
        input.width,
        input.height,
        printable_text(&input.encoding),
        input.encoding_from,
        printable_text(&input.colour_space),
        input.colour_space_from
    )
}

/// As `--outline` takes it, a circle by three numbers.
fn outline_words(outline: &[f64; 5]) -> String {
    let words = outline.map(|number| format!("{number:.2}"));
    if words[2] == words[3] { words[..3].join(",") } else { words.join(",") }
}

/// The deviations of the numbers above it. A circle has no angle, and one that may as well be any says nothing.
fn outline_sd_words(sphere: &SphereReport) -> String {
    let mut words = sphere.outline_px_sd.map(|sd| format!("{sd:.2}"));
    if sphere.outline_px_sd[4] > LARGEST_ANGLE_SD_DEG {
        "-".clone_into(&mut words[4]);
    }
    let is_circle = outline_words(&sphere.outline_px).matches(',').count() == 2;
    if is_circle { words[..3].join(",") } else { words.join(",") }
}

/// Half of the half turn after which an ellipse is the same again.
const LARGEST_ANGLE_SD_DEG: f64 = 45.0;

fn view_lines(sphere: &SphereReport) -> [String; 2] {
    [
        format!("Horizontal field of view {:.2} deg ({})", sphere.horizontal_fov_deg, sphere.horizontal_fov_from),
        format!("Unseen: within {:.1} deg of straight behind the sphere", sphere.blind_half_angle_deg),
    ]
}

fn sphere_lines(sphere: &SphereReport) -> Vec<String> {
    let mut lines = vec![
        format!("Outline {} (px, angle in deg), by {}", outline_words(&sphere.outline_px), sphere.found_by),
        format!("     sd {}", outline_sd_words(sphere)),
    ];
    lines.extend(view_lines(sphere));
    if sphere.clipped_fraction > 0.0 {
        lines.push(format!("Clipped: {:.2} % of the sphere", 100.0 * sphere.clipped_fraction));
    }
    lines.extend(key_fill_line(sphere));
    lines.extend(light_lines(sphere));
    lines
}

fn key_fill_line(sphere: &SphereReport) -> Option<String> {
    let ratio = sphere.key_fill_ratio?;
    let at_least = if sphere.key_fill_ratio_bound.is_some() { "at least " } else { "" };
    let stops = match (sphere.key_fill_stops, sphere.key_fill_stops_sd) {
        (Some(stops), Some(sd)) => format!(", {stops:.2} stops (sd {sd:.2})"),
        _ => String::new(),
    };
    Some(format!("Key to fill on a matt patch: {at_least}{ratio:.2}:1{stops}"))
}

fn light_lines(sphere: &SphereReport) -> Vec<String> {
    if sphere.lights.is_empty() {
        return vec!["\nNo light stands out from its surroundings.".to_owned()];
    }
    let mut lines = vec![
        "\nLights, camera axes: azimuth + = frame right, elevation + = above".to_owned(),
        "  azimuth  elevation   sd deg   radius    share  illuminance     CCT      Duv".to_owned(),
    ];
    lines.extend(sphere.lights.iter().map(light_line));
    if sphere.no_single_key {
        lines.push("No single key: two or more lights are within 1/3 stop of the brightest.".to_owned());
    }
    lines
}

fn light_line(light: &LightReport) -> String {
    let absent = |number: Option<f64>, decimals: usize| number.map_or("-".to_owned(), |n| format!("{n:.decimals$}"));
    let illuminance = format!("{}{:.3}", if light.clipped { ">" } else { "" }, light.illuminance);
    format!(
        "  {:>7.2}  {:>9.2}  {:>7.2}  {:>7}  {:>6.1}%  {:>11}  {:>6}  {:>7}",
        light.azimuth_deg,
        light.elevation_deg,
        light.direction_sd_deg,
        absent(light.angular_radius_deg, 2),
        100.0 * light.share,
        illuminance,
        absent(light.cct_kelvin, 0),
        absent(light.duv, 4)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::SphereRole;

    fn light() -> LightReport {
        LightReport {
            azimuth_deg: -41.9,
            azimuth_deg_sd: 0.25,
            elevation_deg: 31.2,
            elevation_deg_sd: 0.15,
            direction_sd_deg: 0.2,
            angular_radius_deg: None,
            angular_radius_deg_sd: None,
            angular_radius_reason: None,
            illuminance: 4.47,
            illuminance_sd: 0.1,
            illuminance_bound: Some("lower".to_owned()),
            share: 0.71,
            share_sd: 0.01,
            clipped: true,
            colour_rgb: None,
            cct_kelvin: Some(3200.4),
            cct_kelvin_sd: Some(30.0),
            duv: Some(0.001),
            duv_sd: Some(0.001),
            colour_reason: None,
        }
    }

    fn sphere() -> SphereReport {
        SphereReport {
            role: SphereRole::Mirror,
            name: "m1".to_owned(),
            outline_px: [812.5, 604.0, 143.4, 143.2, 12.0],
            outline_px_sd: [0.05, 0.05, 0.04, 0.04, 3.0],
            found_by: "search".to_owned(),
            unseen_outline_fraction: 0.0,
            horizontal_fov_deg: 40.0,
            horizontal_fov_from: "assumed".to_owned(),
            blind_half_angle_deg: 3.4,
            clipped_fraction: 0.002,
            invalid_fraction: 0.0,
            ignored_fraction: 0.0,
            surface_blur_deg: None,
            surface_blur_deg_sd: None,
            response_curve: None,
            lights: vec![light()],
            no_single_key: false,
            key_fill_ratio: Some(4.1),
            key_fill_ratio_sd: Some(0.2),
            key_fill_ratio_bound: Some("lower".to_owned()),
            key_fill_stops: Some(2.04),
            key_fill_stops_sd: Some(0.07),
            key_fill_stops_bound: Some("lower".to_owned()),
            brightest_patch_deg: None,
            darkest_patch_deg: None,
        }
    }

    #[test]
    fn what_is_not_known_is_not_told_as_a_number() {
        let mut circle = sphere();
        circle.outline_px = [520.2, 318.3, 92.4, 92.4, 50.2];
        circle.outline_px_sd[4] = 51.96;
        let text = sphere_lines(&circle).join("\n");
        assert!(text.contains("520.20,318.30,92.40 (") && !text.contains("51.96"), "{text}");
    }

    #[test]
    fn a_sphere_is_told_within_eighty_columns() {
        let text = sphere_lines(&sphere()).join("\n");
        for words in ["812.50,604.00,143.40", "at least 4.10:1", ">4.470", "3200", "by search", "-41.90"] {
            assert!(text.contains(words), "{words} in\n{text}");
        }
        for line in text.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}
