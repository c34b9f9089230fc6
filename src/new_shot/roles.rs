//! What each file is taken for, and why.

use std::path::{Path, PathBuf};

use super::look::{Look, SphereSeen};
use super::names::{bracket_key, role_by_name, version};
use super::role::Role;

/// One file's role.
#[derive(Debug, Clone, PartialEq)]
pub struct Guess {
    /// The file's name, with its folders where the files lie in several.
    pub file: String,
    /// What it is taken for.
    pub role: Role,
    /// Why.
    pub why: String,
    /// It is in the sheet; an older version of a render, or a second plate, is not.
    pub used: bool,
}

/// Guesses every file's role, then which of several go into the sheet.
pub(super) fn guess(looks: &[Look]) -> Vec<Guess> {
    let shared = shared_folder(looks);
    let mut guesses: Vec<Guess> = looks.iter().map(|look| one(look, &shared)).collect();
    settle_sitting(looks, &mut guesses);
    settle_plate(looks, &mut guesses);
    keep_newest_render(looks, &mut guesses);
    for role in [Role::Plate, Role::Environment, Role::CleanPlate, Role::StraightLines] {
        keep_first(&mut guesses, role);
    }
    guesses
}

fn one(look: &Look, shared: &Path) -> Guess {
    let (role, why) = by_evidence(look);
    let file = look.path.strip_prefix(shared).map_or_else(|_| look.name(), |path| path.to_string_lossy().into_owned());
    Guess { file, role, why, used: role != Role::Unknown }
}

/// The deepest folder that all files lie in.
fn shared_folder(looks: &[Look]) -> PathBuf {
    let folder = |look: &Look| look.path.parent().unwrap_or(Path::new("")).to_path_buf();
    let common =
        |a: PathBuf, b: PathBuf| a.components().zip(b.components()).take_while(|(a, b)| a == b).map(|p| p.0).collect();
    looks.iter().map(folder).reduce(common).unwrap_or_default()
}

fn by_evidence(look: &Look) -> (Role, String) {
    let shown = shown(look);
    if look.meta.environment_map.is_some() {
        return (Role::Environment, "its envmap attribute says so".to_owned());
    }
    if let Some((role, word)) = role_by_name(&look.path) {
        let cut = look.is_cut_sphere() && role == Role::Mirror;
        let role = if cut { Role::Cg } else { role };
        return (role, format!("its name says \"{word}\"; {shown}"));
    }
    if look.drawn {
        return (Role::Unknown, "it is drawn in a few flat colours, as a logo is".to_owned());
    }
    if look.is_cut_sphere() {
        return (Role::Cg, shown);
    }
    if look.is_two_to_one() && !look.eight_bit && look.sphere.is_none() {
        return (Role::Environment, "it is twice as wide as high, with more than 8 bits".to_owned());
    }
    if look.sphere.is_some() {
        return if version(&look.name()).is_some() {
            (Role::Cg, format!("its name has a version; {shown}"))
        } else {
            (Role::Mirror, shown)
        };
    }
    (Role::Unknown, shown)
}

/// What is seen in it.
fn shown(look: &Look) -> String {
    if let Some(take) = &look.take {
        return take.words();
    }
    match &look.sphere {
        Some(SphereSeen { outline, by_alpha, .. }) => {
            let cut = if *by_alpha { ", cut out by its alpha" } else { "" };
            format!(
                "a mirror sphere of radius {:.0} px is found at {:.0}, {:.0}{cut}",
                outline.mean_radius(),
                outline.centre_x,
                outline.centre_y
            )
        }
        None => "no mirror sphere is found in it".to_owned(),
    }
}

/// A bracket is shot in one go, s (common practice, no source).
const SITTING_S: f64 = 600.0;

/// Exposures of a bracket differ by this at least, stops; a plate is shot as one of them was.
const EXPOSED_OTHERWISE_STOPS: f64 = 0.5;

/// A picture in which no sphere is found, for it is too dark or too bright, belongs to the bracket of one in which it is: of the same
/// camera and size, named alike, taken minutes apart and exposed otherwise than every frame that shows it.
fn settle_sitting(looks: &[Look], guesses: &mut [Guess]) {
    let mirrors: Vec<usize> = (0..guesses.len()).filter(|i| guesses[*i].role == Role::Mirror).collect();
    for i in 0..guesses.len() {
        let of_sitting = |m: &&usize| one_sitting(&looks[i], &looks[**m]);
        let Some(first) = mirrors.iter().find(of_sitting).filter(|_| guesses[i].role == Role::Unknown) else {
            continue;
        };
        let apart = mirrors.iter().filter(of_sitting).filter_map(|m| exposed_apart(&looks[i], &looks[*m]));
        if apart.fold(f64::INFINITY, f64::min) < EXPOSED_OTHERWISE_STOPS {
            continue;
        }
        guesses[i].role = Role::Mirror;
        guesses[i].used = true;
        let words =
            format!("{}, but it is another exposure of the sitting of {}", guesses[i].why, guesses[*first].file);
        guesses[i].why = words;
    }
}

fn one_sitting(a: &Look, b: &Look) -> bool {
    let near = a.meta.captured.zip(b.meta.captured).is_some_and(|(a, b)| b.seconds_after(a).abs() <= SITTING_S);
    let same_camera = a.meta.camera == b.meta.camera && a.path.parent() == b.path.parent();
    let exposed = exposed_apart(a, b).is_some();
    a.size == b.size && same_camera && near && exposed && bracket_key(&a.name()) == bracket_key(&b.name())
}

/// By how much two files say that they were exposed apart, stops.
fn exposed_apart(a: &Look, b: &Look) -> Option<f64> {
    a.meta.exposure_stops().zip(b.meta.exposure_stops()).map(|(a, b)| (a - b).abs())
}

/// Without a file called plate, a picture without sphere that has the sphere frame's size is it.
fn settle_plate(looks: &[Look], guesses: &mut [Guess]) {
    if guesses.iter().any(|guess| guess.role == Role::Plate) {
        return;
    }
    let Some(mirror) = guesses.iter().position(|guess| guess.role == Role::Mirror) else { return };
    let clean: Vec<usize> = (0..guesses.len()).filter(|i| guesses[*i].role == Role::CleanPlate).collect();
    let like_it = |i: usize| guesses[i].role == Role::Unknown && looks[i].size == looks[mirror].size;
    let mut candidates = (0..guesses.len()).filter(|i| like_it(*i));
    if let (Some(only), None) = (candidates.next(), candidates.next()) {
        guesses[only].role = Role::Plate;
        guesses[only].used = true;
        guesses[only].why.push_str(", and it has the size of the sphere frame");
    } else if let [only] = clean[..] {
        guesses[only].role = Role::Plate;
        guesses[only].why.push_str(", and there is no other plate");
    }
}

/// Of one render only its newest version goes into the sheet; a render that shows a sphere goes before one that does
/// not.
fn keep_newest_render(looks: &[Look], guesses: &mut [Guess]) {
    let of_role = |guess: &Guess| guess.role == Role::Cg;
    let number = |i: usize| version(&looks[i].name()).map_or(0, |(_, number)| number);
    let cg: Vec<usize> = (0..guesses.len()).filter(|i| of_role(&guesses[*i])).collect();
    let any_sphere = cg.iter().any(|i| looks[*i].sphere.is_some());
    let newest = cg.iter().filter(|i| looks[**i].sphere.is_some() || !any_sphere).map(|i| number(*i)).max();
    for i in cg {
        let shows = looks[i].sphere.is_some() || !any_sphere;
        guesses[i].used = shows && Some(number(i)) == newest;
        if !guesses[i].used {
            guesses[i].why.push_str(if shows {
                "; there is a newer version"
            } else {
                "; another render shows the sphere"
            });
        }
    }
}

fn keep_first(guesses: &mut [Guess], role: Role) {
    for guess in guesses.iter_mut().filter(|guess| guess.role == role).skip(1) {
        guess.used = false;
        guess.why.push_str("; the first of its kind was used");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::capture_time::CaptureTime;
    use crate::image::{CaptureMeta, Size};
    use crate::sphere::Outline;

    fn taken(name: &str, time: &str, exposure_time_s: f64, shows_sphere: bool) -> Look {
        let seen = SphereSeen { outline: Outline::circle(300.0, 200.0, 60.0), by_alpha: false, clipped: false };
        Look {
            path: PathBuf::from(format!("/ferry/{name}")),
            size: Size { width: 640, height: 480 },
            pixel_aspect: 1.0,
            meta: CaptureMeta {
                exposure_time_s: Some(exposure_time_s),
                f_number: Some(8.0),
                iso: Some(100.0),
                captured: CaptureTime::parse(time),
                ..CaptureMeta::default()
            },
            eight_bit: true,
            cut_out: false,
            drawn: false,
            sphere: shows_sphere.then_some(seen),
            take: None,
        }
    }

    /// Of five exposures of one sitting the darkest two show no sphere to the search; the plate of the same sitting does not either, and
    /// was exposed as one of them.
    #[test]
    fn a_sitting_keeps_its_dark_frames_and_its_plate() {
        let shots = [
            ("IMG_0101.jpg", "2026:06:04 10:12:01", 0.1, true),
            ("IMG_0102.jpg", "2026:06:04 10:12:04", 0.025, true),
            ("IMG_0103.jpg", "2026:06:04 10:12:07", 0.006_25, true),
            ("IMG_0104.jpg", "2026:06:04 10:12:10", 0.0016, false),
            ("IMG_0105.jpg", "2026:06:04 10:12:13", 0.0004, false),
            ("IMG_0106.jpg", "2026:06:04 10:13:40", 0.025, false),
            ("IMG_0299.jpg", "2026:06:04 17:40:00", 0.0004, false),
        ];
        let looks: Vec<Look> = shots.iter().map(|(name, time, s, sphere)| taken(name, time, *s, *sphere)).collect();
        assert!(looks.iter().all(|look| look.meta.captured.is_some()));
        let roles: Vec<Role> = guess(&looks).iter().map(|g| g.role).collect();
        assert_eq!(roles[..5], [Role::Mirror; 5]);
        assert!(roles[5..].iter().all(|role| *role != Role::Mirror), "{roles:?}");
    }
}
