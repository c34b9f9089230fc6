//! What each file is taken for, and why.

use std::path::{Path, PathBuf};

use super::look::{Look, SphereSeen};
use super::names::{role_by_name, version};
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

/// Without a file called plate, a picture without sphere that has the sphere frame's size is it.
fn settle_plate(looks: &[Look], guesses: &mut [Guess]) {
    if guesses.iter().any(|guess| guess.role == Role::Plate) {
        return;
    }
    let Some(mirror) = guesses.iter().position(|guess| guess.role == Role::Mirror) else { return };
    let like_it = |i: usize| guesses[i].role == Role::Unknown && looks[i].size == looks[mirror].size;
    let mut candidates = (0..guesses.len()).filter(|i| like_it(*i));
    if let (Some(only), None) = (candidates.next(), candidates.next()) {
        guesses[only].role = Role::Plate;
        guesses[only].used = true;
        guesses[only].why.push_str(", and it has the size of the sphere frame");
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
