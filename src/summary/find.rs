//! Finding the reports below folders and reading them, the newest version of each shot.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use super::expected::Expected;
use super::trend::in_order;
use super::{ShotLine, ShotTrend, VersionPoint, compare_versions};
use crate::base::parallel;
use crate::findings::{REPORT_FORMAT, Report, ShotVerdict};
use crate::show::{is_manifest_name, read_manifest};
use crate::{Error, ErrorKind, Result, printable};

/// How deep folders are searched. Deeper trees are mistakes, such as a link back to the top.
const MAX_DEPTH: usize = 32;

/// A report larger than this is not one of ours.
const MAX_REPORT_BYTES: u64 = 64 << 20;

/// The ending by which a report is known.
const ENDING: &str = ".report.json";

/// What a list of folders holds.
#[derive(Debug, Default)]
pub struct ReportSet {
    /// The newest version of each shot, by shot name.
    pub lines: Vec<ShotLine>,
    /// Reports of older versions, which are left out.
    pub older: usize,
    /// Every shot over all its versions, where asked for.
    pub trends: Vec<ShotTrend>,
    /// What could not be read.
    pub unusable: Vec<Error>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
}

/// Which versions of a shot are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Versions {
    /// The newest.
    #[default]
    Newest,
    /// The numbers of all in [`ReportSet::trends`] besides.
    All,
}

/// Reads every `*.report.json` in `given`: files as they are, folders with all below them.
///
/// Of several reports of a shot in one folder those of the last run count, as the manifests beside them tell, and of
/// those the newest version ([`compare_versions`]). A shot that could not be done and whose version nobody knows
/// counts as the newest. Two reports of one shot and version count once, by the worse verdict, and a warning names
/// both.
///
/// Shots that a run was to check and that have no report of it are among the unusable.
pub fn read_reports(given: &[PathBuf], versions: Versions) -> ReportSet {
    let mut set = ReportSet::default();
    let mut search = Search::default();
    for path in given {
        search.path(path, &mut set.unusable);
    }
    let read: Vec<Result<ShotLine>> = parallel::map_each(&search.found, |path| read_report(path, versions));
    let mut by_folder: BTreeMap<PathBuf, Vec<ShotLine>> = BTreeMap::new();
    for line in read {
        match line {
            Ok(line) => by_folder.entry(folder_of(&line)).or_default().push(line),
            Err(error) => set.unusable.push(error),
        }
    }
    for (dir, expected) in expected_of(&search.manifests, &mut set) {
        let lines = by_folder.get_mut(&dir).map(Vec::as_mut_slice).unwrap_or_default();
        set.unusable.extend(expected.hold(&dir, &mut lines.iter_mut().collect::<Vec<_>>()));
    }
    let mut points: BTreeMap<String, Vec<VersionPoint>> = BTreeMap::new();
    for line in by_folder.values_mut().flatten() {
        if let Some(point) = line.point.take() {
            points.entry(line.shot.clone()).or_default().push(point);
        }
    }
    set.trends = in_order(points);
    let mut newest: BTreeMap<String, ShotLine> = BTreeMap::new();
    for lines in by_folder.into_values() {
        // Runs are counted in each folder by itself.
        let mut of_folder: BTreeMap<String, ShotLine> = BTreeMap::new();
        for line in lines {
            keep_newest(&mut of_folder, line, by_run, &mut set);
        }
        for line in of_folder.into_values() {
            keep_newest(&mut newest, line, by_version, &mut set);
        }
    }
    set.lines = newest.into_values().collect();
    set
}

fn folder_of(line: &ShotLine) -> PathBuf {
    Path::new(&line.report).parent().unwrap_or(Path::new("")).to_path_buf()
}

/// What was to be checked, by folder.
fn expected_of(manifests: &[PathBuf], set: &mut ReportSet) -> BTreeMap<PathBuf, Expected> {
    let mut by_folder: BTreeMap<PathBuf, Expected> = BTreeMap::new();
    for path in manifests {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        // As the lines have it, which name reports in letters that can be shown.
        let dir = PathBuf::from(path.parent().unwrap_or(Path::new("")).to_string_lossy().into_owned());
        match read_manifest(path) {
            Ok(manifest) => by_folder.entry(dir).or_default().add(name, manifest),
            Err(error) => set.unusable.push(error),
        }
    }
    by_folder
}

/// The later of two reports of one folder.
fn by_run(a: &ShotLine, b: &ShotLine) -> Ordering {
    a.run.cmp(&b.run).then_with(|| by_version(a, b))
}

fn by_version(a: &ShotLine, b: &ShotLine) -> Ordering {
    let failed = |line: &ShotLine| line.verdict == ShotVerdict::Error && line.version.is_none();
    failed(a).cmp(&failed(b)).then_with(|| compare_versions(a.version.as_deref(), b.version.as_deref()))
}

fn keep_newest(
    newest: &mut BTreeMap<String, ShotLine>,
    line: ShotLine,
    order: fn(&ShotLine, &ShotLine) -> Ordering,
    set: &mut ReportSet,
) {
    let Some(known) = newest.get_mut(&line.shot) else {
        newest.insert(line.shot.clone(), line);
        return;
    };
    let order = order(known, &line);
    if order.is_eq() {
        let both = [&known.report, &line.report].map(|path| printable(Path::new(path)));
        set.warnings.push(format!("{} and {} are reports of one shot and version; the worse counts", both[0], both[1]));
        if line.verdict > known.verdict {
            *known = line;
        }
        return;
    }
    set.older += 1;
    if order.is_lt() {
        *known = line;
    }
}

#[derive(Default)]
struct Search {
    visited: BTreeSet<PathBuf>,
    found: Vec<PathBuf>,
    manifests: Vec<PathBuf>,
}

impl Search {
    /// A path named by the user: it has to exist, and a folder has to hold a report.
    fn path(&mut self, path: &Path, errors: &mut Vec<Error>) {
        match fs::metadata(path) {
            Err(error) => errors.push(Error::io(path, &error)),
            Ok(about) if !about.is_dir() => self.file(path.to_path_buf()),
            Ok(_) => {
                let count = |search: &Self| search.found.len() + search.manifests.len();
                let before = (count(self), errors.len());
                self.folder(path, 0, errors);
                if before == (count(self), errors.len()) {
                    let remedy = format!("name a folder that holds *{ENDING} files, as `plateproof check` writes them");
                    errors.push(Error::new(ErrorKind::Parameter, path, "no report in this folder", remedy));
                }
            }
        }
    }

    fn folder(&mut self, folder: &Path, depth: usize, errors: &mut Vec<Error>) {
        // Links to folders are followed, each real folder once.
        let real = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
        if !self.visited.insert(real) {
            return;
        }
        if depth > MAX_DEPTH {
            let cause = format!("lies more than {MAX_DEPTH} folders deep and is not searched");
            errors.push(Error::new(ErrorKind::Limit, folder, cause, "name this folder itself"));
            return;
        }
        match sorted_entries(folder) {
            Err(error) => errors.push(error),
            Ok(paths) => {
                for path in paths {
                    if path.is_dir() {
                        self.folder(&path, depth + 1, errors);
                    } else if path.to_string_lossy().ends_with(ENDING) {
                        self.file(path);
                    } else if path.file_name().is_some_and(|name| is_manifest_name(&name.to_string_lossy())) {
                        self.manifests.push(path);
                    }
                }
            }
        }
    }

    fn file(&mut self, path: PathBuf) {
        if self.visited.insert(path.canonicalize().unwrap_or_else(|_| path.clone())) {
            self.found.push(path);
        }
    }
}

/// What is in a folder, sorted, hidden names left out.
fn sorted_entries(folder: &Path) -> Result<Vec<PathBuf>> {
    let failed = |error: std::io::Error| Error::io(folder, &error);
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        if !entry.file_name().to_string_lossy().starts_with('.') {
            paths.push(entry.path());
        }
    }
    paths.sort();
    Ok(paths)
}

fn read_report(path: &Path, versions: Versions) -> Result<ShotLine> {
    let failed = |error: std::io::Error| Error::io(path, &error);
    // A pipe would block for ever, so only ordinary files are opened.
    if !path.metadata().map_err(failed)?.is_file() {
        return Err(Error::new(ErrorKind::Parameter, path, "not a file", "name a report or a folder of reports"));
    }
    let mut bytes = Vec::new();
    File::open(path).map_err(failed)?.take(MAX_REPORT_BYTES + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > MAX_REPORT_BYTES {
        let cause = format!("larger than {} MiB", MAX_REPORT_BYTES >> 20);
        return Err(Error::new(ErrorKind::Limit, path, cause, "this is no report of plateproof; move it away"));
    }
    let report: Report = serde_json::from_slice(&bytes).map_err(|error| {
        let cause = format!("not a readable report: {error}");
        Error::new(ErrorKind::Malformed, path, cause, "check the shot again, or move the file away")
    })?;
    if report.format != REPORT_FORMAT {
        let cause = format!("`format` is \"{}\", not \"{REPORT_FORMAT}\"", crate::printable_text(&report.format));
        return Err(Error::new(ErrorKind::Unsupported, path, cause, "check the shot again with this version"));
    }
    let line = ShotLine::of(&report, path);
    let point = (versions == Versions::All).then(|| VersionPoint::of(&report, line.number.as_ref()));
    Ok(ShotLine { blake3: blake3::hash(&bytes).to_hex().to_string(), point, ..line })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::{ShotVerdict, sample};
    use crate::report::to_json;

    fn put(folder: &Path, name: &str, version: &str, verdict: ShotVerdict) {
        let mut report = sample::mismatch();
        (report.version, report.verdict) = (Some(version.to_owned()), verdict);
        fs::create_dir_all(folder).unwrap();
        fs::write(folder.join(name), to_json(&report)).unwrap();
    }

    #[test]
    fn the_newest_version_counts_and_twins_count_by_the_worse() {
        let root = tempfile::tempdir().unwrap();
        put(&root.path().join("a"), "x.report.json", "v9", ShotVerdict::Mismatch);
        put(&root.path().join("b"), "x.report.json", "v10", ShotVerdict::Match);
        put(&root.path().join("c"), "x.report.json", "v10", ShotVerdict::Unsure);
        fs::write(root.path().join("note.json"), "{}").unwrap();
        let set = read_reports(&[root.path().to_path_buf(), root.path().join("a")], Versions::Newest);
        assert_eq!((set.lines.len(), set.older), (1, 1));
        assert_eq!(set.lines[0].version.as_deref(), Some("v10"));
        assert_eq!(set.lines[0].verdict, ShotVerdict::Unsure);
        assert!(set.warnings[0].contains("one shot and version"), "{:?}", set.warnings);
    }

    #[test]
    fn what_is_no_report_is_named() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("x.report.json"), "{ \"format\"").unwrap();
        let set = read_reports(&[root.path().to_path_buf(), root.path().join("missing")], Versions::Newest);
        assert_eq!((set.lines.len(), set.unusable.len()), (0, 2));
        let empty = tempfile::tempdir().unwrap();
        assert_eq!(
            read_reports(&[empty.path().to_path_buf()], Versions::Newest).unusable[0].cause,
            "no report in this folder"
        );
    }
}
