//! What a `colorInteropID` says (Academy Software Foundation, "An ID for Color Interop", 2025, and "Identifying the Color Space of
//! OpenEXR Files").
//!
//! An ID has a curve, primaries, and `scene` or `display`: `lin_ap1_scene`.

use super::super::encoding::Encoding;
use super::super::request::Belief;
use crate::colour::ColourSpace;

/// Chromaticities of Adobe RGB (1998), red, green, blue and white.
const ADOBE_RGB: [[f64; 2]; 4] = [[0.64, 0.33], [0.21, 0.71], [0.15, 0.06], [0.3127, 0.3290]];

/// What an ID says.
#[derive(Debug, Clone, Default)]
pub(super) struct Stated {
    pub(super) encoding: Option<Belief<Encoding>>,
    pub(super) space: Option<Belief<ColourSpace>>,
    pub(super) notes: Vec<String>,
}

/// What is taken from an ID; nothing from `unknown`.
pub(super) fn stated(id: &str) -> Stated {
    let note = |text: String| Stated { notes: vec![text], ..Stated::default() };
    if id == "unknown" {
        return Stated::default();
    }
    if id == "data" {
        return note("its colorInteropID says that it holds data, not colour".to_owned());
    }
    let parts: Vec<&str> = id.split('_').collect();
    let read = match parts[..] {
        [curve, primaries, reference] => curve_of(curve).zip(space_of(primaries)).zip(Some(reference)),
        _ => None,
    };
    let Some(((encoding, space), reference)) = read else {
        return note(format!("its colorInteropID \"{}\" is not known and was passed over", crate::printable_text(id)));
    };
    let mut notes = Vec::new();
    if reference == "display" {
        notes.push(
            "its colorInteropID says that it was made for a display: what a display shows is not the scene's light"
                .to_owned(),
        );
    }
    Stated {
        encoding: Some(Belief { value: encoding, from: "file" }),
        space: Some(Belief { value: space, from: "file" }),
        notes,
    }
}

fn curve_of(word: &str) -> Option<Encoding> {
    Some(match word {
        "lin" => Encoding::SceneLinear,
        "srgb" | "srgbe" | "srgbx" => Encoding::Srgb,
        "g22" => Encoding::Gamma22,
        "g24" => Encoding::Bt1886,
        "g26" => Encoding::Gamma26,
        "pq" => Encoding::Pq,
        "hlg" => Encoding::Hlg,
        _ => return None,
    })
}

fn space_of(word: &str) -> Option<ColourSpace> {
    let name = match word {
        "rec709" => "rec709",
        "rec2020" => "rec2020",
        "p3d65" => "p3-d65",
        "ap0" => "aces2065-1",
        "ap1" => "acescg",
        "ciexyzd65" | "xyzd65" => "xyz",
        "adobergb" => {
            let [red, green, blue, white] = ADOBE_RGB;
            return ColourSpace::from_chromaticities(red, green, blue, white);
        }
        _ => return None,
    };
    ColourSpace::parse(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_name_curve_and_primaries() {
        for (id, encoding, space) in [
            ("lin_ap1_scene", "scene-linear", "acescg"),
            ("lin_ap0_scene", "scene-linear", "aces2065-1"),
            ("srgb_rec709_scene", "srgb", "rec709"),
            ("pq_rec2020_display", "pq", "rec2020"),
            ("lin_ciexyzd65_scene", "scene-linear", "xyz"),
        ] {
            let stated = stated(id);
            assert_eq!(stated.encoding.unwrap().value.name(), encoding, "{id}");
            assert_eq!(stated.space.unwrap().value.name, space, "{id}");
            assert_eq!(stated.notes.is_empty(), !id.ends_with("display"), "{id}");
        }
        assert!(stated("unknown").notes.is_empty() && stated("unknown").space.is_none());
        for odd in ["data", "quay:lin_tide_scene", "lin_ap1", "", "lin_tide_scene"] {
            assert!(stated(odd).space.is_none() && !stated(odd).notes.is_empty(), "{odd}");
        }
    }
}
