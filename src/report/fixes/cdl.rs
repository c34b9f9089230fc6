//! A colour correction as the ASC Color Decision List, release 1.2, writes it: one `ColorCorrection` in a file `.cc`.

use std::fmt::Write as _;

use crate::report::marks::CDL_START;

/// Slope alone; offset, power and saturation leave the picture as it is, so that it may be applied to premultiplied
/// colour.
pub(super) fn colour_correction(id: &str, slope_rgb: [f64; 3], descriptions: &[String]) -> String {
    let mut text = CDL_START.to_owned();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "<ColorCorrection xmlns=\"urn:ASC:CDL:v1.2\" id=\"{}\">", escaped(id));
    text.push_str("  <SOPNode>\n");
    for line in descriptions {
        let _ = writeln!(text, "    <Description>{}</Description>", escaped(line));
    }
    let [r, g, b] = slope_rgb.map(|slope| (slope * 1e6).round() / 1e6);
    let _ = writeln!(text, "    <Slope>{r} {g} {b}</Slope>");
    text.push_str("    <Offset>0 0 0</Offset>\n    <Power>1 1 1</Power>\n  </SOPNode>\n");
    text.push_str("  <SatNode>\n    <Saturation>1</Saturation>\n  </SatNode>\n</ColorCorrection>\n");
    text
}

/// Text for an XML element or attribute (XML 1.0, section 2.4).
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What OpenColorIO makes of a few values through a file of ours (`golden/colour_correction`).
    #[test]
    fn the_reference_library_applies_it() {
        const SLOPE: [f64; 3] = [1.425637, 1.583384, 1.952504];
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/colour_correction");
        let text = std::fs::read_to_string(folder.join("correction.cc")).unwrap();
        let lines = ["Working space: scene-linear light, BT.709 primaries, D65 white.".to_owned()];
        assert_eq!(colour_correction("SF_0210.v003", SLOPE, &lines), text);
        let expected = std::fs::read_to_string(folder.join("expected.json")).unwrap();
        let expected: serde_json::Value = serde_json::from_str(&expected).unwrap();
        let pixels = |key: &str| -> Vec<[f64; 3]> { serde_json::from_value(expected[key].clone()).unwrap() };
        for (before, after) in pixels("input").into_iter().zip(pixels("output")) {
            for channel in 0..3 {
                // It computes with 32-bit floats.
                let ours = before[channel] * SLOPE[channel];
                assert!((ours - after[channel]).abs() <= 1e-6 * ours.abs().max(1e-3), "{before:?}: {after:?}");
            }
        }
    }

    #[test]
    fn names_do_not_break_the_file() {
        let text = colour_correction("a\"<&>", [1.5, 1.0, 0.25], &["<&>".to_owned()]);
        let document = roxmltree::Document::parse(&text).unwrap();
        assert_eq!(document.root_element().attribute("id"), Some("a\"<&>"));
        let of =
            |name: &str| document.descendants().find(|n| n.has_tag_name(("urn:ASC:CDL:v1.2", name))).unwrap().text();
        assert_eq!((of("Slope"), of("Description")), (Some("1.5 1 0.25"), Some("<&>")));
    }
}
