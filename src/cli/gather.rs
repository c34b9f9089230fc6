//! Which shot sheets a list of files and folders means.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use crate::image::limits::Limits;
use crate::image::probe::probe;
use crate::new_shot::is_picture_name;
use crate::sheet::{SHEET_FORMAT, peek_sheet};
use crate::show::{is_manifest_name, is_times_name};
use crate::{Error, ErrorKind, Result, printable};

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

/// A word that names nothing was mistyped, and a picture was meant for an option: neither is a shot.
fn file(path: &Path) -> Result<PathBuf> {
    let wrong = |cause, remedy: &str| Err(Error::new(ErrorKind::Parameter, path, cause, remedy));
    match path.symlink_metadata() {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return wrong("no such file or folder", "give a shot sheet, or a folder that contains some");
        }
        Err(error) => return Err(Error::io(path, &error)),
        Ok(_) => {}
    }
    if is_picture(path) {
        let remedy = "draft a sheet from the pictures of a shot with `plateproof new-shot FILE...`, or name them: \
                      `plateproof check --plate FILE --mirror FILE --cg FILE`";
        return wrong("is a picture, not a shot sheet", remedy);
    }
    Ok(path.to_path_buf())
}

/// By the ending, or by the first bytes.
fn is_picture(path: &Path) -> bool {
    !has_ending(path, "json") && (is_picture_name(path) || probe(path, &Limits::default()).is_some())
}

fn in_folder(folder: &Path) -> Vec<Result<PathBuf>> {
    let mut search = Search::default();
    search.folder(folder, 0);
    search.found.sort();
    let nothing = search.found.is_empty() && search.errors.is_empty();
    let mut all: Vec<Result<PathBuf>> = search.found.into_iter().map(Ok).collect();
    all.extend(search.errors.into_iter().map(Err));
    if nothing {
        let remedy = format!(
            "give a folder that contains shot.json, *.shot.json or a .json with \"{SHEET_FORMAT}\", or draft a \
             sheet from the pictures here: plateproof new-shot {}",
            printable(folder)
        );
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
        if !self.visited.insert(real) {
            return;
        }
        if depth > MAX_DEPTH {
            let cause = format!("is more than {MAX_DEPTH} folders deep and is not searched");
            self.errors.push(Error::new(ErrorKind::Limit, folder, cause, "name this folder itself"));
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
        } else if path.is_symlink() && !path.exists() && may_name_a_folder(&path) {
            // It may have been a folder of shots.
            let remedy = "fix the link, or remove it";
            self.errors.push(Error::new(ErrorKind::Io, path, "is a link to something that does not exist", remedy));
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

/// By its name, or by what it says or looks like. What is broken, cannot be read or is no ordinary file counts: it gets
/// an error report, where leaving it out would let the shot pass unseen.
fn is_sheet(path: &Path) -> bool {
    let name = file_name(path).to_ascii_lowercase();
    if name == "shot.json" || name.ends_with(".shot.json") {
        return true;
    }
    if !has_ending(path, "json") || is_report_name(&name) {
        return false;
    }
    let readable = path.is_file() && File::open(path).is_ok();
    !readable || peek_sheet(path).is_some_and(|peek| !peek.is_base)
}

/// Endings that files have beside the shots, pictures and sheets apart (common practice, no source). Names of folders have
/// dots too, as in `SF_0420.v001`.
const FILE_ENDINGS: [&str; 27] = [
    "abc", "avi", "bak", "clf", "csv", "gz", "html", "json", "log", "md", "mov", "mp4", "mxf", "obj", "pdf", "ply",
    "py", "sh", "tar", "tmp", "txt", "usd", "wav", "xml", "yaml", "yml", "zip",
];

/// Whether a link to what is not there may have led to a folder, by its name.
fn may_name_a_folder(path: &Path) -> bool {
    !is_picture_name(path) && !FILE_ENDINGS.iter().any(|ending| has_ending(path, ending))
}

/// Reports may lie below the folder of the shots; a dangling link to one is no shot.
fn is_report_name(name: &str) -> bool {
    name.ends_with(".report.json") || is_manifest_name(name) || is_times_name(name)
}

fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|own| own.eq_ignore_ascii_case(ending))
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
    fn mistyped_paths_and_pictures_are_no_shots() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("plate.exr"), "").unwrap();
        fs::write(folder.path().join("plate"), b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x08\0\0\0\x08\x08\x02\0\0\0")
            .unwrap();
        let given = ["nosuch", "SF_0999.json", "plate.exr"].map(|name| folder.path().join(name));
        let picture = "is a picture, not a shot sheet";
        let nothing = "no such file or folder";
        assert_eq!(names(&gather(&given), folder.path()), [nothing, nothing, picture]);
    }

    #[cfg(unix)]
    #[test]
    fn nothing_that_looks_like_a_sheet_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        for (name, text) in [
            ("a.json", r#"{"fromat":"plateproof-shot/1","shot":"A"}"#),
            ("b.json", r#"{"format":"plateproof-shot/9","shot":"B"}"#),
            ("c.json", r#"{"shot":"C","mirrors":["s.exr"],"cg":{"spheres":["c.exr"]}}"#),
            ("D.JSON", SHOT),
            ("package.json", r#"{"name":"ferry"}"#),
        ] {
            fs::write(root.join(name), text).unwrap();
        }
        std::os::unix::fs::symlink("nothing.json", root.join("e.json")).unwrap();
        std::os::unix::fs::symlink("nothing", root.join("SF_0420")).unwrap();
        let made = std::process::Command::new("mkfifo").arg(root.join("f.json")).status().unwrap();
        assert!(made.success());
        let expected =
            ["D.JSON", "a.json", "b.json", "c.json", "e.json", "f.json", "is a link to something that does not exist"];
        assert_eq!(names(&gather(&[root.to_path_buf()]), root), expected);
    }

    #[test]
    fn folders_too_deep_are_named() {
        let folder = tempfile::tempdir().unwrap();
        let deep: PathBuf = std::iter::repeat_n("d", MAX_DEPTH + 2).collect();
        fs::create_dir_all(folder.path().join(deep)).unwrap();
        let found = names(&gather(&[folder.path().to_path_buf()]), folder.path());
        assert!(found.len() == 1 && found[0].contains("is not searched"), "{found:?}");
    }

    #[test]
    fn an_empty_folder_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let found = gather(&[folder.path().to_path_buf()]);
        assert_eq!(names(&found, folder.path()), ["no shot sheet in this folder"]);
    }
}
