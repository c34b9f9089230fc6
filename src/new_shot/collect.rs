//! Which pictures a list of files and folders means.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use super::names::{role_by_name, shot_name};
use super::role::Role;
use crate::image::MOVIE_ENDINGS;
use crate::image::raw::RAW_ENDINGS;
use crate::{Error, ErrorKind, Result};

/// Endings of the pictures that are read.
const ENDINGS: [&str; 15] =
    ["exr", "sxr", "dpx", "jpg", "jpeg", "jxl", "heic", "heif", "png", "tif", "tiff", "hdr", "rgbe", "tga", "pic"];

/// How deep folders are searched.
const MAX_DEPTH: usize = 6;

/// More pictures than this are not those of one shot.
const MAX_PICTURES: usize = 200;

/// So many frames that differ in their number alone are a moving picture: its first frame stands for it.
const SEQUENCE: usize = 6;

/// Every picture of the files and folders, sorted; of a sequence its first frame.
///
/// # Errors
/// Where a folder cannot be read, there is no picture, or there are more than 200.
pub fn collect(given: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for path in given {
        if path.is_dir() {
            folder(path, 0, &mut found)?;
        } else if path.exists() {
            found.push(path.clone());
        } else {
            let remedy = "give the pictures of one shot, or the folder that contains them";
            return Err(Error::new(ErrorKind::Parameter, path, "no such file or folder", remedy));
        }
    }
    found.sort();
    found.dedup();
    let found = first_frames(one_of_each_take(&found));
    let first = given.first().map_or(Path::new("."), PathBuf::as_path);
    if found.is_empty() {
        let known = [&ENDINGS[..], &RAW_ENDINGS[..], &MOVIE_ENDINGS[..]].concat().join(", ");
        let remedy = format!("give pictures ({known}) or a folder that contains some");
        return Err(Error::new(ErrorKind::Parameter, first, "there is no picture here", remedy));
    }
    if found.len() > MAX_PICTURES {
        let cause = format!("{} pictures are too many for one shot", found.len());
        return Err(Error::new(ErrorKind::Limit, first, cause, "name the folder of one shot, or its files"));
    }
    refuse_several_shots(first, &found)?;
    Ok(found)
}

/// A whole show is not one shot: folders that are named as shots, or that hold a sphere and a plate or a render each.
fn refuse_several_shots(first: &Path, found: &[PathBuf]) -> Result<()> {
    let mut folders: BTreeMap<&Path, BTreeSet<Role>> = BTreeMap::new();
    for file in found {
        let roles = folders.entry(file.parent().unwrap_or(Path::new(""))).or_default();
        roles.extend(role_by_name(file).map(|(role, _)| role));
    }
    let is_shot = |roles: &&BTreeSet<Role>| {
        roles.contains(&Role::Mirror) && (roles.contains(&Role::Plate) || roles.contains(&Role::Cg))
    };
    let name = |folder: &&Path| shot_name(&folder.file_name().unwrap_or_default().to_string_lossy());
    let named: BTreeSet<String> = folders.keys().filter_map(name).collect();
    let shots = folders.values().filter(is_shot).count().max(named.len());
    if shots < 2 {
        return Ok(());
    }
    let cause = format!("these are the pictures of {shots} shots, but a sheet is for one");
    Err(Error::new(ErrorKind::Parameter, first, cause, "give the folder of one shot at a time"))
}

fn folder(path: &Path, depth: usize, found: &mut Vec<PathBuf>) -> Result<()> {
    if depth > MAX_DEPTH {
        return Ok(());
    }
    let entries = fs::read_dir(path).map_err(|error| Error::io(path, &error))?;
    for entry in entries {
        let entry = entry.map_err(|error| Error::io(path, &error))?.path();
        let hidden = entry.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if hidden {
            continue;
        }
        if entry.is_dir() {
            folder(&entry, depth + 1, found)?;
        } else if is_picture_name(&entry) && !is_report(&entry) {
            found.push(entry);
        }
    }
    Ok(())
}

/// A picture by its ending.
pub(crate) fn is_picture_name(path: &Path) -> bool {
    let known =
        |ending: &str| ENDINGS.contains(&ending) || RAW_ENDINGS.contains(&ending) || MOVIE_ENDINGS.contains(&ending);
    path.extension().is_some_and(|ending| known(&ending.to_string_lossy().to_lowercase()))
}

/// Evidence pictures of earlier checks.
fn is_report(path: &Path) -> bool {
    path.file_name().is_some_and(|name| {
        let name = name.to_string_lossy();
        name.contains(".report.") || name.ends_with(".sphere.png")
    })
}

/// Cameras write a developed picture beside the raw still: of two with one name the raw still is kept where it can be read, else
/// the other.
fn one_of_each_take(files: &[PathBuf]) -> Vec<PathBuf> {
    let is_raw =
        |file: &Path| file.extension().is_some_and(|e| RAW_ENDINGS.contains(&&*e.to_string_lossy().to_lowercase()));
    let names =
        |raw: bool| files.iter().filter(|f| is_raw(f) == raw).map(|f| f.with_extension("")).collect::<BTreeSet<_>>();
    let preferred = names(cfg!(feature = "raw"));
    let keep = |file: &PathBuf| is_raw(file) == cfg!(feature = "raw") || !preferred.contains(&file.with_extension(""));
    files.iter().filter(|file| keep(file)).cloned().collect()
}

/// Keeps the first of frames that differ in the last number of their name alone.
fn first_frames(files: Vec<PathBuf>) -> Vec<PathBuf> {
    let mut runs: BTreeMap<(PathBuf, String), usize> = BTreeMap::new();
    for file in &files {
        *runs.entry(run_of(file)).or_default() += 1;
    }
    let mut seen: BTreeMap<(PathBuf, String), usize> = BTreeMap::new();
    let first = |file: &PathBuf| {
        let run = run_of(file);
        let count = seen.entry(run.clone()).or_default();
        *count += 1;
        *count == 1 || runs.get(&run).is_none_or(|all| *all < SEQUENCE)
    };
    let mut first = first;
    files.into_iter().filter(|file| first(file)).collect()
}

/// Folder and name with the last number of four or more digits taken out. Fewer digits count exposures, not frames.
fn run_of(file: &Path) -> (PathBuf, String) {
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let folder = file.parent().unwrap_or(Path::new("")).to_path_buf();
    let end = name.rfind(|c: char| c.is_ascii_digit()).map(|at| at + 1);
    let run = end.map(|end| {
        let digits = name[..end].bytes().rev().take_while(u8::is_ascii_digit).count();
        if digits >= 4 { format!("{}#{}", &name[..end - digits], &name[end..]) } else { name.clone() }
    });
    (folder, run.unwrap_or(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn touch(folder: &Path, name: &str) {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, "").unwrap();
    }

    #[test]
    fn a_sequence_is_one_picture_and_a_bracket_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let touch = |name: &str| touch(folder.path(), name);
        for frame in 1001..1020 {
            touch(&format!("plate/plate.{frame}.exr"));
        }
        for exposure in 1..8 {
            touch(&format!("sphere/s_{exposure}.jpg"));
        }
        for other in ["notes.txt", "shot.json", ".hidden.exr", "reports/A.report.png"] {
            touch(other);
        }
        let found = collect(&[folder.path().to_path_buf()]).unwrap();
        assert_eq!(found.len(), 1 + 7, "{found:?}");
        assert!(found[0].ends_with("plate.1001.exr"));
    }

    #[test]
    fn a_raw_still_and_the_jpeg_beside_it_are_one_take() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["s_1.CR2", "s_1.JPG", "s_2.dng", "plate.jpg", "plate.exr"] {
            touch(folder.path(), name);
        }
        let found = collect(&[folder.path().to_path_buf()]).unwrap();
        let kept = if cfg!(feature = "raw") { "s_1.CR2" } else { "s_1.JPG" };
        assert_eq!(found.len(), 4, "{found:?}");
        assert!(found.iter().any(|file| file.ends_with(kept)) && found.iter().any(|file| file.ends_with("s_2.dng")));
    }

    #[test]
    fn a_whole_show_or_a_mistyped_path_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let touch = |name: &str| touch(folder.path(), name);
        for name in ["a/plate/plate.1001.exr", "a/sphere/mirror.exr", "a/cg/cg_sphere.v003.exr"] {
            touch(name);
        }
        assert_eq!(collect(&[folder.path().join("a")]).unwrap().len(), 3, "one shot in several folders");
        for name in ["SF_0110/plate.exr", "SF_0110/mirror.exr", "SF_0140/plate.exr", "SF_0140/mirror.exr"] {
            touch(&format!("show/{name}"));
        }
        let error = collect(&[folder.path().join("show")]).unwrap_err();
        assert!(error.cause.contains("2 shots"), "{error}");
        let error = collect(&[folder.path().join("nosuch")]).unwrap_err();
        assert!(error.cause.contains("no such file"), "{error}");
    }

    #[test]
    fn nothing_to_see_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(collect(&[folder.path().to_path_buf()]).unwrap_err().kind, ErrorKind::Parameter);
    }
}
