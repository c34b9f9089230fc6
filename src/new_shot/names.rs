//! What the words of a file's name and folder say.

use std::path::Path;

use super::role::Role;

/// Words that name a role. The first role of which a word is there counts, so that a clean plate is no plate and a
/// grey ball no mirror.
const WORDS: [(Role, &[&str]); 8] = [
    (Role::Environment, &["env", "environment", "hdri", "pano", "panorama", "latlong", "dome"]),
    (Role::StraightLines, &["grid", "lines", "checker", "checkerboard", "distortion", "tiles"]),
    (Role::CleanPlate, &["clean", "cleanplate", "empty"]),
    (Role::Cg, &["cg", "cgi", "render", "rendered"]),
    (Role::Matte, &["grey", "gray", "matte", "greyball", "grayball", "card"]),
    (Role::Mirror, &["mirror", "chrome", "mirrorball", "chromeball", "probe"]),
    (Role::Mirror, &["sphere", "ball"]),
    (Role::Plate, &["plate", "bg", "background", "scan", "main"]),
];

/// The words of a text, lower case, cut at everything that is no letter and where capitals begin.
pub(super) fn words(text: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before_lower = false;
    for c in text.chars() {
        if !c.is_alphabetic() || (c.is_uppercase() && before_lower) {
            words.push(String::new());
        }
        before_lower = c.is_lowercase();
        if c.is_alphabetic()
            && let Some(last) = words.last_mut()
        {
            last.extend(c.to_lowercase());
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

/// The role that a file's name tells, else its folder's, with the word that tells it.
pub(super) fn role_by_name(path: &Path) -> Option<(Role, String)> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let folder = path.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy().into_owned();
    role_of(&words(&stem)).or_else(|| role_of(&words(&folder)))
}

fn role_of(words: &[String]) -> Option<(Role, String)> {
    WORDS.iter().find_map(|(role, known)| {
        let word = words.iter().find(|word| known.contains(&word.as_str()))?;
        Some((*role, word.clone()))
    })
}

/// What a name says beside what the picture is for and its version: `case01` of `case01_plate`; `None` where that is
/// nothing.
pub(crate) fn beside_role(name: &str) -> Option<String> {
    let is_role = |part: &str| WORDS.iter().any(|(_, known)| known.contains(&part.to_lowercase().as_str()));
    let parts = name.split(|c: char| !c.is_alphanumeric());
    let telling: Vec<&str> =
        parts.filter(|part| !part.is_empty() && !is_role(part) && version(part).is_none()).collect();
    (!telling.is_empty()).then(|| telling.join("_"))
}

/// The version in a name, `v012`, as written, and its number.
pub(crate) fn version(name: &str) -> Option<(String, u64)> {
    name.split(|c: char| !c.is_ascii_alphanumeric()).find_map(|part| {
        let digits = part.strip_prefix(['v', 'V'])?;
        let number = (digits.len() >= 2 && digits.bytes().all(|b| b.is_ascii_digit())).then(|| digits.parse().ok());
        Some((part.to_owned(), number??))
    })
}

/// A name without version, numbers and words of exposure: frames of one bracket share it.
pub(super) fn bracket_key(name: &str) -> String {
    const EXPOSURE_WORDS: [&str; 10] =
        ["under", "over", "normal", "dark", "bright", "ev", "plus", "minus", "low", "high"];
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    words(stem).into_iter().filter(|word| !EXPOSURE_WORDS.contains(&word.as_str())).collect::<Vec<_>>().join(" ")
}

/// A shot's name in a file's or folder's name: letters, then two or more digits, such as `SF_0420`.
pub(crate) fn shot_name(text: &str) -> Option<String> {
    let bytes = text.as_bytes();
    let letters = bytes.iter().take_while(|b| b.is_ascii_alphabetic()).count();
    let rest = &bytes[letters..];
    let mark = usize::from(rest.first().is_some_and(|b| matches!(b, b'_' | b'-')));
    let digits = rest[mark..].iter().take_while(|b| b.is_ascii_digit()).count();
    let is_name = (1..=6).contains(&letters) && (2..=6).contains(&digits);
    let generic = WORDS.iter().any(|(_, words)| words.contains(&text[..letters].to_lowercase().as_str()));
    let camera_file = matches!(&text[..letters], "IMG" | "DSC" | "DSCF" | "MVI" | "PXL" | "v" | "V" | "s" | "S");
    (is_name && !generic && !camera_file).then(|| text[..letters + mark + digits].to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_roles() {
        for (name, role) in [
            ("SF_0420.plate.1001.exr", Some(Role::Plate)),
            ("cleanPlate.1001.exr", Some(Role::CleanPlate)),
            ("cg_sphere.v012.1001.exr", Some(Role::Cg)),
            ("mirror_over.jpg", Some(Role::Mirror)),
            ("GreyBall_1.exr", Some(Role::Matte)),
            ("hall_latlong.hdr", Some(Role::Environment)),
            ("lens-grid.exr", Some(Role::StraightLines)),
            ("sphere/IMG_2231.JPG", Some(Role::Mirror)),
            ("IMG_2231.JPG", None),
            ("platelet.exr", None),
        ] {
            assert_eq!(role_by_name(Path::new(name)).map(|(role, _)| role), role, "{name}");
        }
    }

    #[test]
    fn versions_brackets_and_shots_are_read() {
        assert_eq!(version("cg_sphere.v012.1001.exr"), Some(("v012".to_owned(), 12)));
        assert_eq!(version("view.exr"), None);
        assert_eq!(version("v99999999999999999999999.exr"), None);
        assert_eq!(bracket_key("s_under.1.jpg"), bracket_key("s_over.2.jpg"));
        assert_ne!(bracket_key("left_1.jpg"), bracket_key("right_1.jpg"));
        assert_eq!(shot_name("SF_0420.plate.1001.exr").as_deref(), Some("SF_0420"));
        for none in ["plate.1001.exr", "IMG_2231.JPG", "notes", "", "é_10"] {
            assert_eq!(shot_name(none), None, "{none}");
        }
    }
}
