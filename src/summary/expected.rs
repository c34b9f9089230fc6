//! Reports held against what the runs into their folder were to check.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::ShotLine;
use crate::show::{Manifest, Planned};
use crate::{Error, ErrorKind};

/// What is to be run where a shot was left undone.
const RUN_AGAIN: &str = "run the same check again; finished shots are skipped";

/// The runs into one folder.
#[derive(Debug, Default)]
pub(super) struct Expected {
    /// By file name.
    manifests: BTreeMap<String, Manifest>,
}

impl Expected {
    pub(super) fn add(&mut self, file_name: String, manifest: Manifest) {
        self.manifests.insert(file_name, manifest);
    }

    /// Notes in the lines of this folder which run made them, and gives what is missing.
    pub(super) fn hold(&self, dir: &Path, lines: &mut [&mut ShotLine]) -> Vec<Error> {
        let current = self.current();
        let mut by_report: BTreeMap<&str, (u64, &Planned)> = BTreeMap::new();
        for (run, planned) in current.values() {
            let known = by_report.entry(planned.report.as_str()).or_insert((*run, planned));
            if known.0 < *run {
                *known = (*run, planned);
            }
        }
        let mut there = BTreeSet::new();
        let mut wrong = Vec::new();
        for line in lines {
            let name = Path::new(&line.report).file_name().unwrap_or_default().to_string_lossy().into_owned();
            let Some((run, planned)) = by_report.get(name.as_str()) else { continue };
            line.run = *run;
            if planned.report_blake3.as_ref().is_some_and(|hash| *hash != line.blake3) {
                let cause = format!("is not the report that the last run of {} wrote", planned.sheet);
                wrong.push(Error::new(ErrorKind::Parameter, dir.join(&name), cause, RUN_AGAIN));
            }
            there.insert(name);
        }
        for (_, planned) in current.values() {
            wrong.extend(missing(dir, planned, there.contains(&planned.report)));
        }
        wrong.extend(self.missing_parts(dir));
        wrong
    }

    /// What the last run said of each sheet.
    fn current(&self) -> BTreeMap<&str, (u64, &Planned)> {
        let mut current: BTreeMap<&str, (u64, &Planned)> = BTreeMap::new();
        for manifest in self.manifests.values() {
            for planned in &manifest.shots {
                let known = current.entry(planned.sheet.as_str()).or_insert((manifest.run, planned));
                if known.0 < manifest.run {
                    *known = (manifest.run, planned);
                }
            }
        }
        current
    }

    /// Parts of a show of which some have run and some have not, unless all was run in another way since.
    fn missing_parts(&self, dir: &Path) -> Vec<Error> {
        let current = self.current();
        let counts = |manifest: &&Manifest| {
            manifest.shots.is_empty()
                || manifest.shots.iter().any(|p| current.get(p.sheet.as_str()).is_some_and(|c| c.0 == manifest.run))
        };
        let mut splits: BTreeMap<String, (usize, BTreeSet<usize>, bool)> = BTreeMap::new();
        for (name, manifest) in &self.manifests {
            let (Some(part), Some(parts)) = (manifest.part, manifest.parts) else { continue };
            let split = splits.entry(manifest.split_of(name)).or_insert((parts, BTreeSet::new(), false));
            split.1.insert(part);
            split.2 |= counts(&manifest);
        }
        let missing = splits.into_values().filter(|(_, _, counts)| *counts).filter_map(|(parts, there, _)| {
            let missing: Vec<String> =
                (1..=parts.min(MOST_PARTS)).filter(|part| !there.contains(part)).map(|part| part.to_string()).collect();
            let cause = match missing.as_slice() {
                [] => return None,
                [one] => format!("part {one} of {parts} has not run"),
                many => format!("parts {} of {parts} have not run", many.join(", ")),
            };
            Some(Error::new(ErrorKind::Parameter, dir, cause, "run them; all parts write into one folder"))
        });
        missing.collect()
    }
}

/// More parts than any farm has nodes; beyond them a number in a damaged manifest is not believed.
const MOST_PARTS: usize = 100_000;

fn missing(dir: &Path, planned: &Planned, is_there: bool) -> Option<Error> {
    let version = planned.version.as_ref().map(|version| format!(" {version}")).unwrap_or_default();
    let cause = match (&planned.report_blake3, is_there) {
        (Some(_), true) => return None,
        (Some(_), false) => format!("the report of {}{version} is gone", planned.shot),
        (None, true) => format!(
            "{}{version} ({}) has a report of an earlier run, but the last run wrote none",
            planned.shot, planned.sheet
        ),
        (None, false) => format!("{}{version} ({}) was to be checked and was not", planned.shot, planned.sheet),
    };
    Some(Error::new(ErrorKind::Parameter, dir.join(&planned.report), cause, RUN_AGAIN))
}
