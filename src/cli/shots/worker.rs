//! One shot from its sheet to its files.

use std::path::{Component, Path, PathBuf};
use std::time::SystemTime;

use super::line::Done;
use super::{Load, Task, Wanted};
use crate::base::relative::relative_to;
use crate::findings::Report;
use crate::report::{WrittenPaths, render_text, report_stem, write_report};
use crate::sheet::{ShotSheet, peek_sheet};
use crate::shot::ShotOutcome;
use crate::show::{FileHashes, MemoryBudget, Planned, StillValid, check, need, seal, still_valid};
use crate::{Error, Result};

/// What all workers share.
pub(super) struct Worker<'a> {
    pub(super) wanted: &'a Wanted,
    pub(super) load: &'a Load<'a>,
    pub(super) budget: MemoryBudget,
    pub(super) hashes: FileHashes,
    /// Hand the report back, since it is the only one.
    pub(super) keep_report: bool,
}

impl Worker<'_> {
    /// Checks a shot, or finds that its reports still hold. A sheet that cannot be read gets a report that says so.
    pub(super) fn shot(&self, task: &Task) -> Done {
        match (&task.refused, (self.load)(task)) {
            (Some(refused), Ok(sheet)) => {
                let report = Report::failed(&sheet.shot, sheet.cg.version.clone(), refused);
                Done::new(report, Ok(None), true)
            }
            (Some(error), Err(_)) => Done::new(unreadable(task, error), Ok(None), true),
            (None, Err(error)) => {
                let report = unreadable(task, &error);
                self.deliver(ShotOutcome::of_report(report), None)
            }
            (None, Ok(sheet)) => self.earlier(&sheet).unwrap_or_else(|| self.checked(&task.origin, &sheet)),
        }
    }

    /// The reports of an earlier run, where they still hold.
    fn earlier(&self, sheet: &ShotSheet) -> Option<Done> {
        if self.wanted.again {
            return None;
        }
        let StillValid { report, file_blake3 } =
            still_valid(&self.wanted.out, sheet, self.wanted.options, &self.hashes)?;
        let written = paths_of(&self.wanted.out, &report);
        Some(Done::unchanged(report, written, file_blake3, self.keep_report))
    }

    fn checked(&self, origin: &Path, sheet: &ShotSheet) -> Done {
        let need = need(sheet);
        let Some(_share) = self.budget.take(need.bytes) else {
            let refused = need.refused(origin, self.wanted.memory);
            let report = Report::failed(&sheet.shot, sheet.cg.version.clone(), &refused);
            return self.deliver(ShotOutcome::of_report(report), None);
        };
        let begun = SystemTime::now();
        self.deliver(check(sheet, self.wanted.options), Some((sheet, begun)))
    }

    fn deliver(&self, mut result: ShotOutcome, checked: Option<(&ShotSheet, SystemTime)>) -> Done {
        let text = render_text(&result.report, false);
        if let Some((sheet, begun)) = checked {
            seal(&mut result, sheet, self.wanted.options, &text, (&self.hashes, begun));
        }
        let ShotOutcome { report, picture_png, attachments } = result;
        let written = write_report(&self.wanted.out, &report, &text, picture_png.as_deref(), &attachments);
        Done::new(report, written.map(Some), self.keep_report)
    }
}

fn unreadable(task: &Task, error: &Error) -> Report {
    Report::failed(&task.planned.shot, task.planned.version.clone(), error)
}

/// What the report of a sheet will be in `out`, which is [`resolved`]; `version` is what an option says of the CG. A sheet that
/// cannot be loaded is named by what it says all the same, else by its path, which it shares with no other.
pub(in crate::cli) fn planned(origin: &Path, out: &Path, sheet: &Result<ShotSheet>, version: Option<&str>) -> Planned {
    let (shot, version) = if let Ok(sheet) = sheet {
        (sheet.shot.clone(), sheet.cg.version.clone())
    } else {
        let peek = peek_sheet(origin).unwrap_or_default();
        let shot = peek.shot.filter(|shot| !shot.trim().is_empty()).unwrap_or_else(|| named_by_path(origin));
        (shot, version.map(str::to_owned).or(peek.version))
    };
    planned_as(origin, out, shot, version)
}

/// What the report of a sheet will be in `out`, which is [`resolved`], where its shot and version are known.
pub(in crate::cli) fn planned_as(origin: &Path, out: &Path, shot: String, version: Option<String>) -> Planned {
    let report = format!("{}.report.json", report_stem(&shot, version.as_deref()));
    Planned { sheet: beside(origin, out), shot, version, report, report_blake3: None }
}

fn named_by_path(origin: &Path) -> String {
    let path = origin.with_extension("");
    let parts = path.components().filter(|part| !matches!(part, Component::CurDir));
    let parts: Vec<_> = parts.map(|part| part.as_os_str().to_string_lossy()).collect();
    parts.join("/")
}

/// A path as seen from the folder of the reports, which is [`resolved`]: the same on every machine that sees the same tree.
pub(in crate::cli) fn beside(path: &Path, out: &Path) -> String {
    let text = relative_to(&resolved(path), &out.join("x"));
    text.unwrap_or_else(|_| path.to_string_lossy().into_owned())
}

/// A path without links, as far as it exists.
pub(in crate::cli) fn resolved(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_path_buf())
}

fn paths_of(out: &Path, report: &Report) -> WrittenPaths {
    let stem = report_stem(&report.shot, report.version.as_deref());
    let path = |ending: &str| out.join(format!("{stem}.report.{ending}"));
    let provenance = report.provenance.as_ref();
    WrittenPaths {
        json: path("json"),
        text: path("txt"),
        picture: provenance.and_then(|p| p.picture_blake3.as_ref()).map(|_| path("png")),
        beside: provenance
            .iter()
            .flat_map(|p| p.beside_blake3.keys())
            .map(|ending| out.join(format!("{stem}.{ending}")))
            .collect(),
    }
}
