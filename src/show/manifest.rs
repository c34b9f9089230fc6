//! What a run was to check, so that a shot that passed unseen is missed afterwards.
//!
//! Every run of `check` keeps one manifest in the folder of its reports, a part of a show its own. It lists the shots
//! from the first moment on, and when the run ends the hash of each report that it wrote. Nobody writes to the manifest of
//! another run: of two that speak of one sheet the one with the higher run number counts. The same sheets and reports
//! give the same bytes.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Part;
use crate::report::write::{remove_failed, write_whole};
use crate::{Error, ErrorKind, Result};

/// The format mark of a manifest.
pub const MANIFEST_FORMAT: &str = "plateproof-manifest/1";

/// What the names of manifests begin with.
const PREFIX: &str = "plateproof-manifest.";

/// A manifest larger than this is not one of ours: a million shots are some 200 MiB.
const MAX_MANIFEST_BYTES: u64 = 1 << 30;

/// What one run was to check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Always `plateproof-manifest/1`.
    pub format: String,
    /// Higher than those of the other runs into this folder that were there when it began.
    pub run: u64,
    /// Part of the show, counted from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<usize>,
    /// Into how many parts the show was split.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<usize>,
    /// Every shot of the run, or of its part.
    pub shots: Vec<Planned>,
}

/// One shot that a run was to check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Planned {
    /// The sheet, relative to the folder of the reports.
    pub sheet: String,
    /// The shot's name.
    pub shot: String,
    /// The CG version.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// The name of the JSON report's file.
    pub report: String,
    /// Content hash of that file, once the run that wrote it has ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub report_blake3: Option<String>,
}

/// What tells the manifests of one folder apart: what was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunName {
    /// The sheets and folders that were given, relative to the folder of the reports.
    pub given: Vec<String>,
    /// The part of the show.
    pub part: Option<Part>,
}

impl RunName {
    /// What tells the files of one run in a folder apart from those of others.
    pub fn mark(&self) -> String {
        let given = blake3::hash(self.given.join("\n").as_bytes()).to_hex();
        let shared = given.as_str().get(..8).unwrap_or_default();
        match self.part {
            Some(part) => format!("{shared}.{}-of-{}", part.number, part.of),
            None => shared.to_owned(),
        }
    }

    fn file_name(&self) -> String {
        format!("{PREFIX}{}.json", self.mark())
    }
}

impl Manifest {
    /// What all parts of one split share with one another and with no other run; `file_name` is the manifest's own.
    pub fn split_of(&self, file_name: &str) -> String {
        let stem = file_name.split('.').nth(1).unwrap_or_default();
        format!("{stem} {}", self.parts.unwrap_or(0))
    }
}

/// Whether a file is a manifest by its name.
pub fn is_manifest_name(name: &str) -> bool {
    name.strip_prefix(PREFIX).is_some_and(|rest| rest.strip_suffix(".json").is_some())
}

/// Reads a manifest.
///
/// # Errors
/// Where it cannot be read or is none.
pub fn read_manifest(path: &Path) -> Result<Manifest> {
    let failed = |error: std::io::Error| Error::io(path, &error);
    let none =
        |cause: String| Error::new(ErrorKind::Malformed, path, cause, "move it away, and run `plateproof check` again");
    let about = path.metadata().map_err(failed)?;
    if !about.is_file() || about.len() > MAX_MANIFEST_BYTES {
        return Err(none("is no manifest of a run".to_owned()));
    }
    let mut bytes = Vec::new();
    fs::File::open(path).map_err(failed)?.take(MAX_MANIFEST_BYTES).read_to_end(&mut bytes).map_err(failed)?;
    let manifest: Manifest = serde_json::from_slice(&bytes)
        .map_err(|error| none(format!("is not a readable manifest of a run: {error}")))?;
    if manifest.format == MANIFEST_FORMAT { Ok(manifest) } else { Err(none("is no manifest of a run".to_owned())) }
}

/// The manifests in a folder by file name; what cannot be read is left out.
fn manifests_in(dir: &Path) -> BTreeMap<String, Manifest> {
    let names = fs::read_dir(dir).into_iter().flatten().flatten();
    let names = names.filter_map(|entry| entry.file_name().into_string().ok()).filter(|name| is_manifest_name(name));
    names.filter_map(|name| Some((name.clone(), read_manifest(&dir.join(&name)).ok()?))).collect()
}

/// The manifest of the run that is on.
#[derive(Debug)]
pub struct Ledger {
    path: PathBuf,
    manifest: Manifest,
}

impl Ledger {
    /// Notes down what is going to be checked, and takes away what earlier runs said of the same sheets under other names, and this
    /// run of sheets that are no longer there, where that was only that they could not be done. That comes first: the new manifest is the only one that still knows
    /// of these sheets.
    ///
    /// # Errors
    /// Where the folder cannot be made or written to, or something else stands in the manifest's place.
    pub fn open(dir: &Path, name: &RunName, shots: Vec<Planned>) -> Result<Self> {
        fs::create_dir_all(dir).map_err(|error| Error::io(dir, &error))?;
        let path = dir.join(name.file_name());
        if path.symlink_metadata().is_ok() {
            read_manifest(&path)?;
        }
        let mut manifest = Manifest {
            format: MANIFEST_FORMAT.to_owned(),
            run: 1,
            part: name.part.map(|part| part.number),
            parts: name.part.map(|part| part.of),
            shots,
        };
        let there = manifests_in(dir);
        manifest.run = run_number(&there, &name.file_name(), &manifest);
        let ours: BTreeSet<&str> = manifest.shots.iter().map(|planned| planned.sheet.as_str()).collect();
        let all = there.iter().flat_map(|(file, other)| other.shots.iter().map(move |planned| (file, planned)));
        let (earlier, of_others): (Vec<_>, Vec<_>) = all.partition(|(file, planned)| {
            let went = **file == name.file_name() && is_gone(&dir.join(&planned.sheet));
            ours.contains(planned.sheet.as_str()) || went
        });
        let kept: BTreeSet<&str> = of_others
            .into_iter()
            .map(|(_, planned)| planned)
            .chain(&manifest.shots)
            .map(|p| p.report.as_str())
            .collect();
        for (_, old) in earlier.into_iter().filter(|(_, planned)| !kept.contains(planned.report.as_str())) {
            remove_failed(dir, &old.report);
        }
        let ledger = Self { path, manifest };
        ledger.write()?;
        Ok(ledger)
    }

    /// Notes the report of the shot at this place of the list.
    pub fn done(&mut self, place: usize, report_blake3: Option<String>) {
        if let Some(planned) = self.manifest.shots.get_mut(place) {
            planned.report_blake3 = report_blake3;
        }
    }

    /// Writes down what was done.
    ///
    /// # Errors
    /// `Io` where writing fails.
    pub fn close(self) -> Result<()> {
        self.write()
    }

    fn write(&self) -> Result<()> {
        // Strings and numbers alone always convert.
        let text = serde_json::to_string_pretty(&self.manifest).unwrap_or_default();
        write_whole(&self.path, format!("{text}\n").as_bytes())
    }
}

/// Neither a file nor a link stands there.
fn is_gone(path: &Path) -> bool {
    path.symlink_metadata().is_err_and(|error| error.kind() == std::io::ErrorKind::NotFound)
}

/// The parts of one split leave each other's numbers alone, so that they may begin in any order.
fn run_number(there: &BTreeMap<String, Manifest>, file_name: &str, manifest: &Manifest) -> u64 {
    let split = manifest.split_of(file_name);
    let own = there.get(file_name).map_or(1, |own| own.run);
    let others = there.iter().filter(|(name, other)| other.split_of(name) != split);
    others.map(|(_, other)| other.run.saturating_add(1)).fold(own, u64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn planned(sheet: &str, report: &str) -> Planned {
        Planned {
            sheet: sheet.to_owned(),
            shot: sheet.to_owned(),
            version: None,
            report: report.to_owned(),
            report_blake3: None,
        }
    }

    fn name(given: &str, part: Option<[usize; 2]>) -> RunName {
        let part = part.map(|[number, of]| Part { number, of });
        RunName { given: vec![given.to_owned()], part }
    }

    #[test]
    fn a_later_run_has_a_higher_number_and_parts_have_one_together() {
        let dir = tempfile::tempdir().unwrap();
        let run = |name: &RunName| {
            let ledger = Ledger::open(dir.path(), name, vec![planned("a.json", "a.report.json")]).unwrap();
            let run = ledger.manifest.run;
            ledger.close().unwrap();
            run
        };
        let parts = [1, 2, 3].map(|number| name("shots", Some([number, 3])));
        assert_eq!(parts.each_ref().map(run), [1, 1, 1]);
        assert_eq!(run(&name("shots/a.json", None)), 2);
        assert_eq!(run(&name("shots/a.json", None)), 2, "nothing came between");
        assert_eq!(run(&parts[1]), 3);
        assert_eq!(run(&name("shots", Some([1, 2]))), 4, "another split is another run");
    }

    #[test]
    fn a_failure_under_an_old_name_goes_though_the_next_run_is_killed() {
        let dir = tempfile::tempdir().unwrap();
        let failed = crate::report::json::to_json_of(&crate::findings::sample::error());
        fs::write(dir.path().join("old.report.json"), failed).unwrap();
        let run = name("shots", None);
        Ledger::open(dir.path(), &run, vec![planned("a.json", "old.report.json")]).unwrap().close().unwrap();
        // A run that ends without a word: nothing but the opening of its manifest is left.
        drop(Ledger::open(dir.path(), &run, vec![planned("a.json", "new.report.json")]).unwrap());
        assert!(!dir.path().join("old.report.json").exists());
    }

    #[test]
    fn what_is_no_manifest_is_not_written_over() {
        let dir = tempfile::tempdir().unwrap();
        let run = name("shots", None);
        let path = dir.path().join(run.file_name());
        fs::write(&path, "{}").unwrap();
        assert!(Ledger::open(dir.path(), &run, Vec::new()).is_err());
        assert_eq!(fs::read(&path).unwrap(), b"{}");
    }
}
