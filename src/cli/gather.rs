//! Which shot sheets a list of files and folders means.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::sheet::{SHEET_FORMAT, peek_sheet};
use crate::{Error, ErrorKind, Result};

/// How deep folders are searched. Deeper trees are mistakes, such as a link back to the top.
const MAX_DEPTH: usize = 32;

/// The sheets in the order given, those of a folder sorted by path, each once. What cannot be read is an error in
/// its place.
pub(super) fn gather(given: &[PathBuf]) -> Vec<Result<PathBuf>> {
    let mut seen = BTreeSet::new();
    let all = given.iter().flat_map(|path| if path.is_dir() { in_folder(path) } else { vec![file(path)] });
    all.filter(|found| match found {
        Ok(path) => seen.insert(path.canonicalize().unwrap_or_else(|_| path.clone())),
        Err(_) => true,
    })
    .collect()
}

/// A sheet that is missing still gets its report, since somebody waits for it; any other word was mistyped.
fn file(path: &Path) -> Result<PathBuf> {
    let meant_as_sheet = path.extension().is_some_and(|ending| ending == "json");
    if meant_as_sheet || path.exists() {
        return Ok(path.to_path_buf());
    }
    let remedy = "name a shot sheet, or a folder that holds some";
    Err(Error::new(ErrorKind::Parameter, path, "no such file or folder", remedy))
}

fn in_folder(folder: &Path) -> Vec<Result<PathBuf>> {
    let mut search = Search::default();
    search.folder(folder, 0);
    search.found.sort();
    let nothing = search.found.is_empty() && search.errors.is_empty();
    let mut all: Vec<Result<PathBuf>> = search.found.into_iter().map(Ok).collect();
    all.extend(search.errors.into_iter().map(Err));
    if nothing {
        let remedy = format!("name a folder that holds shot.json, *.shot.json or a .json with \"{SHEET_FORMAT}\"");
        all.push(Err(Error::new(ErrorKind::Parameter, folder, "no shot sheet in this folder", remedy)));
    }
    all
}

#[derive(Default)]
struct Search {
    visited: BTreeSet<PathBuf>,
    found: Vec<PathBuf>,
    errors: Vec<Error>,
}

impl Search {
    fn folder(&mut self, folder: &Path, depth: usize) {
        // Links to folders are followed, each real folder once.
        let real = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
        if depth > MAX_DEPTH || !self.visited.insert(real) {
            return;
        }
        match entries(folder) {
            Ok(paths) => paths.into_iter().for_each(|path| self.entry(path, depth)),
            Err(error) => self.errors.push(error),
        }
    }

    fn entry(&mut self, path: PathBuf, depth: usize) {
        if path.is_dir() {
            self.folder(&path, depth + 1);
        } else if is_sheet(&path) {
            self.found.push(path);
        }
    }
}

/// What is in a folder, sorted, hidden names left out.
fn entries(folder: &Path) -> Result<Vec<PathBuf>> {
    let io_error = |error: std::io::Error| Error::io(folder, &error);
    let paths = fs::read_dir(folder).map_err(io_error)?.map(|entry| entry.map(|entry| entry.path()));
    let mut paths: Vec<PathBuf> = paths.collect::<std::io::Result<_>>().map_err(io_error)?;
    paths.retain(|path| !file_name(path).starts_with('.'));
    paths.sort();
    Ok(paths)
}

/// By its name, or by what it says. A broken file that says it is a sheet counts: it gets an error report, where
/// leaving it out would let the shot pass unseen.
fn is_sheet(path: &Path) -> bool {
    let name = file_name(path);
    if name == "shot.json" || name.ends_with(".shot.json") {
        return path.is_file();
    }
    path.extension().is_some_and(|ending| ending == "json") && peek_sheet(path).is_some_and(|peek| !peek.is_base)
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHOT: &str = r#"{"format":"plateproof-shot/1","shot":"A"}"#;

    fn names(found: &[Result<PathBuf>], root: &Path) -> Vec<String> {
        let relative = |path: &PathBuf| path.strip_prefix(root).unwrap().to_string_lossy().replace('\\', "/");
        found.iter().map(|f| f.as_ref().map_or_else(|error| error.cause.clone(), relative)).collect()
    }

    #[test]
    fn folders_give_their_sheets_in_a_stable_order() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        for (name, text) in [
            ("b/shot.json", SHOT),
            ("a/z.json", SHOT),
            ("a/broken.json", r#"{"format":"plateproof-shot/1", "shot" "#),
            ("a/show.json", r#"{"format":"plateproof-shot/1","camera":{}}"#),
            ("a/A.report.json", r#"{"format":"plateproof-report/1","shot":"A"}"#),
            ("c.shot.json", "nonsense"),
            (".hidden/shot.json", SHOT),
            ("readme.txt", SHOT),
        ] {
            fs::create_dir_all(root.join(name).parent().unwrap()).unwrap();
            fs::write(root.join(name), text).unwrap();
        }
        let expected = ["a/broken.json", "a/z.json", "b/shot.json", "c.shot.json"];
        assert_eq!(names(&gather(&[root.to_path_buf()]), root), expected);

        let twice = gather(&[root.join("b/shot.json"), root.to_path_buf()]);
        assert_eq!(names(&twice, root), ["b/shot.json", "a/broken.json", "a/z.json", "c.shot.json"]);
    }

    #[test]
    fn a_mistyped_path_is_no_shot_and_a_missing_sheet_is_one() {
        let folder = tempfile::tempdir().unwrap();
        let given = [folder.path().join("nosuch"), folder.path().join("SF_0999.json")];
        assert_eq!(names(&gather(&given), folder.path()), ["no such file or folder", "SF_0999.json"]);
    }

    #[test]
    fn an_empty_folder_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let found = gather(&[folder.path().to_path_buf()]);
        assert_eq!(names(&found, folder.path()), ["no shot sheet in this folder"]);
    }
}
