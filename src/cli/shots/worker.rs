//! One shot from its sheet to its files.

use std::path::Path;

use super::line::Done;
use super::{Load, Task, Wanted};
use crate::report::{Report, WrittenPaths, render_text, report_stem, write_report};
use crate::sheet::{ShotSheet, peek_sheet};
use crate::show::{MemoryBudget, ShotResult, check, memory_bytes, seal, still_valid};
use crate::{Error, Result};

/// What all workers share.
pub(super) struct Worker<'a> {
    pub(super) wanted: &'a Wanted,
    pub(super) load: &'a Load<'a>,
    pub(super) budget: MemoryBudget,
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
            (Some(error), Err(_)) => Done::new(self.unreadable(&task.origin, error), Ok(None), true),
            (None, Err(error)) => {
                let report = self.unreadable(&task.origin, &error);
                self.deliver(ShotResult { report, picture_png: None, attachments: Vec::new() }, None)
            }
            (None, Ok(sheet)) => self.earlier(&sheet).unwrap_or_else(|| self.checked(&sheet)),
        }
    }

    /// The reports of an earlier run, where they still hold.
    fn earlier(&self, sheet: &ShotSheet) -> Option<Done> {
        if self.wanted.again {
            return None;
        }
        let report = still_valid(&self.wanted.out, sheet, self.wanted.options)?;
        let written = paths_of(&self.wanted.out, &report);
        let mut done = Done::new(report, Ok(Some(written)), self.keep_report);
        done.unchanged = true;
        Some(done)
    }

    fn checked(&self, sheet: &ShotSheet) -> Done {
        let _share = self.budget.take(memory_bytes(sheet));
        self.deliver(check(sheet, self.wanted.options), Some(sheet))
    }

    fn deliver(&self, mut result: ShotResult, sheet: Option<&ShotSheet>) -> Done {
        let text = render_text(&result.report, false);
        if let Some(sheet) = sheet {
            seal(&mut result, sheet, self.wanted.options, &text);
        }
        let ShotResult { report, picture_png, attachments } = result;
        let written = write_report(&self.wanted.out, &report, &text, picture_png.as_deref(), &attachments);
        Done::new(report, written.map(Some), self.keep_report)
    }

    fn unreadable(&self, origin: &Path, error: &Error) -> Report {
        Report::failed(&shot_of_unreadable(origin), self.wanted.version.clone(), error)
    }
}

/// The name of a shot whose sheet cannot be loaded: what it says all the same, else what the file is called.
pub(in crate::cli) fn shot_of_unreadable(origin: &Path) -> String {
    let stem = || origin.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    peek_sheet(origin).and_then(|peek| peek.shot).unwrap_or_else(stem)
}

/// The name under which a shot's reports will stand.
pub(in crate::cli) fn stem_of(origin: &Path, sheet: &Result<ShotSheet>, version: Option<&str>) -> String {
    match sheet {
        Ok(sheet) => report_stem(&sheet.shot, sheet.cg.version.as_deref()),
        Err(_) => report_stem(&shot_of_unreadable(origin), version),
    }
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
