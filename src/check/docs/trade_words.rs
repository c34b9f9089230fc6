//! Words of the trade, and other names of ours, for what can be explained.

use super::TOPICS;
use crate::check;

/// For each name, the words that people ask for it by; lower case, words joined by a hyphen.
const WORDS: &[(&str, &[&str])] = &[
    (
        "highlight-direction",
        &["direction", "key", "key-direction", "key-light", "light-direction", "lights", "highlight"],
    ),
    (
        "key-fill-ratio",
        &["key-fill", "contrast", "ratio", "contrast-ratio", "lighting-ratio", "fill", "key-to-fill", "key-fill-stops"],
    ),
    ("exposure", &["brightness", "stops", "intensity", "level"]),
    (
        "colour-balance",
        &[
            "colour",
            "color",
            "color-balance",
            "white-balance",
            "wb",
            "colour-temperature",
            "color-temperature",
            "cct",
            "kelvin",
            "mired",
            "tint",
            "colour-mired",
            "gel",
        ],
    ),
    ("reference-drift", &["drift", "reference", "plate-match"]),
    ("environment-rotation", &["rotation", "heading", "turn", "hdri-rotation", "dome-rotation"]),
    ("environment", &["hdri", "hdr", "lat-long", "latlong", "dome", "ibl", "panorama", "env"]),
    ("field-of-view", &["fov", "camera", "lens", "focal-length", "focal", "sensor", "film-back", "crop"]),
    ("scale", &["distance", "diameter", "size", "measured"]),
    ("set-notes", &["notes", "camera-report", "metadata"]),
    ("sphere-place", &["place", "near", "near-lights", "parallax", "falloff", "two-spheres"]),
    ("light-gains", &["gains", "light-mixing", "light-layers", "aov", "aovs", "lpe"]),
    ("clean-plate", &["clean", "empty-plate"]),
    ("lens-distortion", &["distortion", "straight-lines", "grid", "undistort", "lens-grid"]),
    (
        "grey-sphere",
        &["grey-ball", "gray-ball", "gray-sphere", "matte", "matte-sphere", "diffuse-sphere", "18-percent"],
    ),
    (
        "verdicts",
        &[
            "verdict",
            "unsure",
            "match",
            "mismatch",
            "not-given",
            "waiver",
            "waivers",
            "waived",
            "exit-status",
            "exit-code",
            "sd",
            "standard-deviation",
            "uncertainty",
            "clipping",
            "clipped",
        ],
    ),
    ("tolerances", &["tolerance", "limit", "limits", "threshold", "thresholds"]),
    ("directions", &["azimuth", "elevation", "axes", "pixels", "outline", "clockwise", "angles"]),
    (
        "shooting",
        &[
            "set",
            "chrome-ball",
            "chrome-sphere",
            "mirror-ball",
            "mirror-sphere",
            "sphere",
            "ball",
            "shoot",
            "on-set",
            "checklist",
            "bracket",
            "safety",
        ],
    ),
    (
        "encodings",
        &[
            "encoding",
            "log",
            "linear",
            "srgb",
            "transfer",
            "transfer-function",
            "gamma",
            "colour-space",
            "colour-spaces",
            "color-space",
            "color-spaces",
            "colorspace",
            "lut",
            "clf",
            "view-transform",
            "aces",
            "acescg",
        ],
    ),
];

/// The name under which something is explained: itself, or what one of the trade's words for it means.
pub fn named(asked: &str) -> Option<&'static str> {
    let asked = folded(asked);
    let ours = check::docs().map(super::CheckDoc::name).chain(TOPICS.iter().map(|topic| topic.name));
    let own = ours.chain(["encodings", "tolerances"]).find(|name| *name == asked);
    own.or_else(|| WORDS.iter().find(|(_, words)| words.contains(&asked.as_str())).map(|(name, _)| *name))
}

/// Lower case, separators as single hyphens.
fn folded(text: &str) -> String {
    let parts = text.split(|c: char| !c.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.map(str::to_lowercase).collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_word_means_one_thing_that_is_there() {
        let mut seen = BTreeSet::new();
        for (name, words) in WORDS {
            assert_eq!(named(name), Some(*name), "{name} is explained");
            for word in *words {
                assert!(seen.insert(*word), "{word} is there twice");
                assert_eq!(folded(word), *word);
                assert_eq!(named(word), Some(*name), "{word}: no name of ours may hide it");
            }
        }
    }

    #[test]
    fn tolerance_names_and_the_words_of_the_trade_are_known_in_any_case() {
        for (asked, name) in [
            ("Highlight-Direction", "highlight-direction"),
            ("direction", "highlight-direction"),
            ("key-fill", "key-fill-ratio"),
            ("colour", "colour-balance"),
            ("White Balance", "colour-balance"),
            ("contrast", "key-fill-ratio"),
            ("FOV", "field-of-view"),
            ("unsure", "verdicts"),
            ("chrome ball", "shooting"),
            ("waiver", "verdicts"),
        ] {
            assert_eq!(named(asked), Some(name), "{asked}");
        }
        assert_eq!(named(""), None);
        assert_eq!(named("zebra"), None);
    }
}
