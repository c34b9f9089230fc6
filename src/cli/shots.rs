//! Checks shots one after the other, writes their reports and sums them up.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use super::args::Format;
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use crate::report::text::headline;
use crate::report::{ErrorNote, REPORT_FORMAT, Report, ShotVerdict, ToolNote};
use crate::report::{WrittenPaths, render_text, report_stem, to_json, write_report};
use crate::sheet::{ShotSheet, peek_sheet};
use crate::shot::{RunOptions, ShotOutcome, check_shot};
use crate::{Error, ErrorKind, Result, printable, printable_text};

/// What is wanted of every shot.
#[derive(Debug)]
pub(super) struct Wanted {
    /// Folder for the reports.
    pub(super) out: PathBuf,
    /// What is printed.
    pub(super) format: Format,
    /// With the evidence picture.
    pub(super) picture: bool,
    /// With pictures of the spheres that the environment predicts.
    pub(super) predict: bool,
    /// Version of the CG, where an option tells it.
    pub(super) version: Option<String>,
}

/// A run over several shots. One that cannot be done does not stop the others.
pub(super) struct ShotRun<'a> {
    wanted: Wanted,
    options: RunOptions,
    console: &'a mut Console,
    progress: Progress,
    count: usize,
    /// Which sheet wrote which report.
    taken: BTreeMap<String, PathBuf>,
    lines: Vec<Line>,
    status: ExitStatus,
}

/// One shot in the summary.
struct Line {
    verdict: ShotVerdict,
    stem: String,
    headline: String,
}

impl<'a> ShotRun<'a> {
    pub(super) fn new(wanted: Wanted, count: usize, console: &'a mut Console) -> Self {
        let options = RunOptions { picture: wanted.picture, predict: wanted.predict };
        let progress = Progress::start(console.watched);
        let (taken, lines, status) = (BTreeMap::new(), Vec::new(), ExitStatus::default());
        Self { wanted, options, console, progress, count, taken, lines, status }
    }

    /// Checks the shot of one sheet. A sheet that cannot be read gets a report that says so.
    pub(super) fn shot(&mut self, origin: &Path, sheet: impl FnOnce() -> Result<ShotSheet>) -> io::Result<()> {
        self.progress.say(&format!("checking {} ({} of {})", printable(origin), self.lines.len() + 1, self.count));
        let outcome = match sheet() {
            Ok(sheet) => check_shot(&sheet, self.options),
            Err(error) => without_picture(self.unreadable(origin, &error)),
        };
        match self.claim(&outcome.report, origin) {
            Ok(()) => self.deliver(&outcome),
            Err(clash) => self.tell(&failed(&outcome.report.shot, outcome.report.version.clone(), &clash), None),
        }
    }

    /// Something that is not even a shot could not be used.
    pub(super) fn no_shot(&mut self, error: &Error) {
        self.status = self.status.max(ExitStatus::Unusable);
        self.remark(&error.to_string());
    }

    fn unreadable(&self, origin: &Path, error: &Error) -> Report {
        let stem = || origin.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let shot = peek_sheet(origin).and_then(|peek| peek.shot).unwrap_or_else(stem);
        failed(&shot, self.wanted.version.clone(), error)
    }

    /// Two shots must not write the same report.
    fn claim(&mut self, report: &Report, origin: &Path) -> Result<()> {
        let stem = report_stem(&report.shot, report.version.as_deref());
        match self.taken.get(&stem) {
            None => {
                self.taken.insert(stem, origin.to_path_buf());
                Ok(())
            }
            Some(first) => {
                let cause = format!("its report {stem} would replace that of {}", printable(first));
                let remedy = "give the two another `shot` or `version`, or check them into two folders";
                Err(Error::new(ErrorKind::Parameter, origin, cause, remedy))
            }
        }
    }

    fn deliver(&mut self, outcome: &ShotOutcome) -> io::Result<()> {
        let plain = render_text(&outcome.report, false);
        match write_report(
            &self.wanted.out,
            &outcome.report,
            &plain,
            outcome.picture_png.as_deref(),
            &outcome.attachments,
        ) {
            Ok(paths) => self.tell(&outcome.report, Some(&paths)),
            Err(error) => {
                self.no_shot(&error);
                self.tell(&outcome.report, None)
            }
        }
    }

    fn tell(&mut self, report: &Report, written: Option<&WrittenPaths>) -> io::Result<()> {
        self.status = self.status.max(ExitStatus::from(report.verdict));
        let stem = report_stem(&report.shot, report.version.as_deref());
        self.lines.push(Line { verdict: report.verdict, stem, headline: headline(report) });
        let shows_report = self.wanted.format == Format::Text && self.count == 1;
        if let Some(note) = report.error.as_ref().filter(|_| !shows_report) {
            self.remark(&format!("{}: {}: {}; {}", report.shot, note.file, note.cause, note.remedy));
        }
        let answer = match self.wanted.format {
            Format::Json => one_line(report),
            Format::Text if shows_report => render_text(report, self.console.colour) + &written_words(written),
            Format::Text => return Ok(()),
        };
        self.progress.aside(|| self.console.answer(&answer))
    }

    fn remark(&self, text: &str) {
        self.progress.aside(|| Console::remark(&format!("plateproof: {}", printable_text(text))));
    }

    /// Prints the summary of several shots and gives the exit status of all.
    pub(super) fn finish(self) -> io::Result<ExitStatus> {
        drop(self.progress);
        if self.wanted.format == Format::Text && self.count > 1 {
            self.console.answer(&summary(&self.lines, &self.wanted.out))?;
        }
        Ok(self.status)
    }
}

/// The report of a shot that could not be done.
fn failed(shot: &str, version: Option<String>, error: &Error) -> Report {
    Report {
        format: REPORT_FORMAT.to_owned(),
        tool: ToolNote::current(),
        shot: shot.to_owned(),
        version,
        verdict: ShotVerdict::Error,
        spheres: Vec::new(),
        findings: Vec::new(),
        inputs: Vec::new(),
        assumptions: Vec::new(),
        warnings: Vec::new(),
        not_used: Vec::new(),
        notes: None,
        error: Some(ErrorNote {
            file: printable(&error.file),
            cause: error.cause.clone(),
            remedy: error.remedy.clone(),
        }),
    }
}

fn without_picture(report: Report) -> ShotOutcome {
    ShotOutcome { report, picture_png: None, attachments: Vec::new() }
}

/// The JSON report without its line breaks; those within texts are escaped in JSON already.
fn one_line(report: &Report) -> String {
    let json = to_json(report);
    let compact = serde_json::from_str::<serde_json::Value>(&json).map(|value| value.to_string());
    compact.unwrap_or(json) + "\n"
}

fn written_words(written: Option<&WrittenPaths>) -> String {
    let Some(paths) = written else { return String::new() };
    let endings = if paths.picture.is_some() { "txt, json, png" } else { "txt, json" };
    format!("\nWritten: {} ({endings})\n", printable(&paths.text))
}

fn summary(lines: &[Line], out: &Path) -> String {
    let widest = lines.iter().map(|line| line.stem.len()).max().unwrap_or_default();
    let row = |line: &Line| format!("{:<8}  {:<widest$}  {}\n", line.verdict.word(), line.stem, line.headline);
    let rows: Vec<String> = lines.iter().map(row).collect();
    format!("{}\n{}. Reports in {}\n", rows.concat(), counts(lines), printable(out))
}

fn counts(lines: &[Line]) -> String {
    let order = [ShotVerdict::Error, ShotVerdict::Mismatch, ShotVerdict::Unsure, ShotVerdict::Match];
    let count = |verdict| lines.iter().filter(|line| line.verdict == verdict).count();
    let parts = order.map(|verdict| (count(verdict), verdict.word())).into_iter().filter(|(n, _)| *n > 0);
    let parts: Vec<String> = parts.map(|(n, word)| format!("{n} {word}")).collect();
    format!("{} shots: {}", lines.len(), parts.join(", "))
}
