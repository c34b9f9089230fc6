//! What is kept of a shot that is done, and the lines that come of it.

use std::path::Path;

use textwrap::core::display_width;

use crate::findings::{Report, ShotVerdict};
use crate::report::text::headline;
use crate::report::{WrittenPaths, report_stem, to_json};
use crate::{Error, printable};

/// What is kept of a shot that is done.
pub(super) struct Done {
    pub(super) verdict: ShotVerdict,
    stem: String,
    headline: String,
    /// Why it could not be done.
    pub(super) remark: Option<String>,
    /// Where its reports are.
    pub(super) written: Option<WrittenPaths>,
    /// Why they could not be written.
    pub(super) not_written: Option<Error>,
    /// Content hash of its JSON report on disk.
    pub(super) report_blake3: Option<String>,
    /// There are reports of it on disk.
    pub(super) on_disk: bool,
    /// The reports of an earlier run still hold.
    pub(super) unchanged: bool,
    /// The report itself, where it is the only one, or stands nowhere else.
    pub(super) report: Option<Box<Report>>,
}

impl Done {
    /// `written` is where the reports went, or why they are nowhere.
    pub(super) fn new(report: Report, written: Result<Option<WrittenPaths>, Error>, keep_report: bool) -> Self {
        let hash = || blake3::hash(to_json(&report).as_bytes()).to_hex().to_string();
        let report_blake3 = matches!(written, Ok(Some(_))).then(hash);
        Self::of(report, written, report_blake3, keep_report)
    }

    /// The reports of an earlier run still hold.
    pub(super) fn unchanged(report: Report, written: WrittenPaths, report_blake3: String, keep_report: bool) -> Self {
        let done = Self::of(report, Ok(Some(written)), Some(report_blake3), keep_report);
        Self { unchanged: true, ..done }
    }

    fn of(
        report: Report,
        written: Result<Option<WrittenPaths>, Error>,
        report_blake3: Option<String>,
        keep_report: bool,
    ) -> Self {
        let remark = report.error.as_ref().map(|e| format!("{}: {}: {}; {}", report.shot, e.file, e.cause, e.remedy));
        let (written, not_written) = match written {
            Ok(written) => (written, None),
            Err(error) => (None, Some(error)),
        };
        Self {
            verdict: report.verdict,
            stem: report_stem(&report.shot, report.version.as_deref()),
            headline: headline(&report),
            remark,
            not_written,
            report_blake3,
            on_disk: written.is_some(),
            unchanged: false,
            report: (keep_report || written.is_none()).then(|| Box::new(report)),
            written,
        }
    }
}

/// The JSON report without its line breaks; those within texts are escaped in JSON already.
pub(super) fn one_line(done: &mut Done) -> String {
    let on_disk = || std::fs::read_to_string(&done.written.as_ref()?.json).ok();
    let json = match done.report.take() {
        Some(report) => to_json(&report),
        None => on_disk().unwrap_or_default(),
    };
    let compact = serde_json::from_str::<serde_json::Value>(&json).map(|value| value.to_string());
    compact.map_or_else(|_| String::new(), |line| line + "\n")
}

/// What is kept of all shots that were told.
#[derive(Debug, Default)]
pub(super) struct Tally {
    /// Shots told.
    pub(super) told: usize,
    by_verdict: [usize; 4],
    unchanged: usize,
    on_disk: bool,
}

/// The order in which verdicts are counted out.
const ORDER: [ShotVerdict; 4] = [ShotVerdict::Error, ShotVerdict::Mismatch, ShotVerdict::Unsure, ShotVerdict::Match];

impl Tally {
    pub(super) fn add(&mut self, done: &Done) {
        self.told += 1;
        self.unchanged += usize::from(done.unchanged);
        self.on_disk |= done.on_disk;
        for (count, verdict) in self.by_verdict.iter_mut().zip(ORDER) {
            *count += usize::from(done.verdict == verdict);
        }
    }

    /// What stands below the lines of the shots.
    pub(super) fn summary(&self, out: &Path) -> String {
        let unchanged = match self.unchanged {
            0 => String::new(),
            count => format!(" ({count} unchanged since the last run; --again checks them again)"),
        };
        let place =
            if self.on_disk { format!("Reports in {}", printable(out)) } else { "No report was written".to_owned() };
        format!("\n{}{unchanged}. {place}\n", self.counts())
    }

    fn counts(&self) -> String {
        let parts = self.by_verdict.iter().zip(ORDER).filter(|(count, _)| **count > 0);
        let parts: Vec<String> = parts.map(|(count, verdict)| format!("{count} {}", verdict.word())).collect();
        let shots = if self.told == 1 { "shot" } else { "shots" };
        format!("{} {shots}: {}", self.told, parts.join(", "))
    }
}

/// The line of one shot of several, its name in a column `widest` wide.
pub(super) fn row(done: &Done, widest: usize) -> String {
    let gap = " ".repeat(widest.saturating_sub(display_width(&done.stem)));
    format!("{:<8}  {}{gap}  {}\n", done.verdict.word(), done.stem, done.headline)
}
