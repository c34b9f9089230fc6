//! The text report: plain ASCII of our own, at most 80 columns, the worst first, readable in ten seconds.

mod over_time;
mod sections;

pub(crate) use sections::turned_instead;

use std::path::Path;

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use super::columns::{cell, clip};
use super::wording::{is_set_problem, off_words, prose, undecided_words};
use crate::findings::Naming;
use crate::findings::{ErrorNote, Finding, InputRecord, Report, ShotVerdict, Verdict};
use crate::printable_text;

/// The first words of every text report; a file that begins otherwise is not ours.
pub(crate) const TEXT_MARK: &str = "plateproof report";

/// Columns of the page.
const COLUMNS: usize = 80;

/// The report as text of at most 80 columns.
///
/// `colour` adds ANSI colours and is for terminals only. Order: shot, version and verdict; the reason in one line;
/// findings about the reference that failed; what to do, worst first; all findings; lights; conventions; inputs;
/// warnings. Names and messages from files have their control characters escaped.
///
/// ```
/// # let json = r#"{"format":"plateproof-report/1","tool":{"name":"plateproof","version":"0.1.0"},"shot":"SF_0420",
/// # "verdict":"unsure","spheres":[],"findings":[],"inputs":[],"warnings":[],"error":null}"#;
/// let report: plateproof::findings::Report = serde_json::from_str(json)?;
/// let text = plateproof::report::render_text(&report, false);
/// assert!(text.starts_with("plateproof report  SF_0420"));
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn render_text(report: &Report, colour: bool) -> String {
    let mut page = Page { text: String::new(), colour, naming: Naming::of(report) };
    first_lines(&mut page, report);
    sections::error(&mut page, report);
    sections::reference_failures(&mut page, report);
    sections::what_to_do(&mut page, report);
    sections::findings(&mut page, report);
    over_time::over_time(&mut page, report);
    sections::lights(&mut page, report);
    sections::conventions(&mut page, report);
    sections::inputs(&mut page, report);
    sections::warnings(&mut page, report);
    page.text
}

/// Shot, version, verdict; then why, in one sentence.
fn first_lines(page: &mut Page, report: &Report) {
    let verdict = format!("{}{}", report.verdict.word().to_uppercase(), set_problems(report));
    let mut name = printable_text(&report.shot);
    if let Some(version) = &report.version {
        name = format!("{name}  {}", printable_text(version));
    }
    let room = COLUMNS - TEXT_MARK.len() - verdict.len() - 4;
    let name = clip(&name, room);
    let gap = " ".repeat(room - display_width(&name) + 2);
    let verdict = page.painted(&verdict, shot_colour(report.verdict));
    page.line(&format!("{TEXT_MARK}  {name}{gap}{verdict}"));
    page.paragraph("", &headline(report));
}

/// How many on-set problems a shot has whose CG is right.
fn set_problems(report: &Report) -> String {
    let count = set_faults(report).into_iter().filter(|f| is_set_problem(f)).count();
    match if report.verdict == ShotVerdict::Match { count } else { 0 } {
        0 => String::new(),
        1 => ", 1 on-set problem".to_owned(),
        several => format!(", {several} on-set problems"),
    }
}

/// Why the shot has its verdict, and what from set does not fit, in one sentence without a full stop.
pub fn headline(report: &Report) -> String {
    let faults = set_faults(report);
    let why = verdict_words(report);
    match faults.as_slice() {
        [] => why,
        [only] if report.verdict == ShotVerdict::Match => format!("{why}; from set: {}", off_words(only)),
        several => {
            let names: Vec<String> = several.iter().map(|f| check_name(f)).collect();
            format!("{why}; from set: {} off", names.join(", "))
        }
    }
}

/// What came from set and does not fit; it does not count for the verdict.
pub(crate) fn set_faults(report: &Report) -> Vec<&Finding> {
    let failed = |f: &&Finding| f.concerns == "reference" && f.verdict == Verdict::Mismatch && f.waived.is_none();
    worst_first(report).into_iter().filter(failed).collect()
}

/// Why the shot has its verdict.
fn verdict_words(report: &Report) -> String {
    let about_cg = || worst_first(report).into_iter().filter(|f| f.concerns != "reference");
    let compared = about_cg().filter(|f| f.verdict != Verdict::NotGiven).count();
    let count = |verdict| about_cg().filter(|f| f.verdict == verdict && f.waived.is_none()).count();
    let first = |verdict| about_cg().find(|f| f.verdict == verdict && f.waived.is_none());
    match report.verdict {
        ShotVerdict::Error => report.error.as_ref().map(error_words).unwrap_or_default(),
        ShotVerdict::Mismatch => first(Verdict::Mismatch).map_or_else(
            || "outside tolerance".to_owned(),
            |f| format!("{} of {compared} CG checks off; worst: {}", count(Verdict::Mismatch), off_words(f)),
        ),
        ShotVerdict::Unsure if !report.required_undecided.is_empty() => undecided_words(&report.required_undecided),
        ShotVerdict::Unsure => first(Verdict::Unsure).map_or_else(
            || "nothing could be compared".to_owned(),
            |f| format!("{}: {}", check_name(f), prose(&f.reason)),
        ),
        ShotVerdict::Match => match about_cg().filter(|f| f.waived.is_some() && f.verdict != Verdict::NotGiven).count()
        {
            0 => format!("all {compared} CG checks agree within tolerance{}", unproven(report)),
            waived => {
                let agree = compared - waived;
                format!("{agree} of {compared} CG checks agree within tolerance, {waived} waived{}", unproven(report))
            }
        },
    }
}

/// What a match does not prove, for want of a plate.
fn unproven(report: &Report) -> &'static str {
    let of = |role: &'static str| report.inputs.iter().filter(move |input| input.role == role);
    let plate = of("plate").next();
    let is_mirror =
        |plate: &InputRecord| !plate.blake3.is_empty() && of("mirror").any(|mirror| mirror.blake3 == plate.blake3);
    match plate {
        None => "; no plate was given",
        Some(plate) if is_mirror(plate) => "; the plate given is the mirror frame itself",
        Some(_) => "",
    }
}

/// Which file, and what is wrong with it.
fn error_words(error: &ErrorNote) -> String {
    let name = Path::new(&error.file).file_name().unwrap_or_default().to_string_lossy().into_owned();
    let cause = prose(&error.cause);
    if name.is_empty() || cause.contains(&name) { cause } else { format!("{}: {cause}", printable_text(&name)) }
}

/// Worst verdict first, waived ones among the matches; the producer's order within one verdict.
fn worst_first(report: &Report) -> Vec<&Finding> {
    let mut findings: Vec<&Finding> = report.findings.iter().collect();
    let rank = |f: &Finding| if f.waived.is_some() { Verdict::Match } else { f.verdict };
    findings.sort_by_key(|f| std::cmp::Reverse(rank(f)));
    findings
}

fn check_name(finding: &Finding) -> String {
    printable_text(&finding.check)
}

/// ANSI colours that keep apart for the colour-blind; the word itself always says the verdict.
#[derive(Debug, Clone, Copy)]
enum Ink {
    Bad,
    Doubtful,
    Good,
    Faint,
    Heading,
}

impl Ink {
    fn code(self) -> &'static str {
        match self {
            Self::Bad => "1;31",
            Self::Doubtful => "1;33",
            Self::Good => "36",
            Self::Faint => "2",
            Self::Heading => "1",
        }
    }
}

fn shot_colour(verdict: ShotVerdict) -> Ink {
    match verdict {
        ShotVerdict::Match => Ink::Good,
        ShotVerdict::Unsure => Ink::Doubtful,
        ShotVerdict::Mismatch | ShotVerdict::Error => Ink::Bad,
    }
}

fn finding_colour(finding: &Finding) -> Ink {
    match finding.verdict {
        Verdict::Mismatch if finding.waived.is_none() => Ink::Bad,
        Verdict::Unsure => Ink::Doubtful,
        Verdict::NotGiven => Ink::Faint,
        Verdict::Mismatch | Verdict::Match => Ink::Good,
    }
}

/// The page as it grows.
struct Page {
    text: String,
    colour: bool,
    naming: Naming,
}

impl Page {
    fn painted(&self, text: &str, ink: Ink) -> String {
        if self.colour { format!("\u{1b}[{}m{text}\u{1b}[0m", ink.code()) } else { text.to_owned() }
    }

    fn named(&self, finding: &Finding) -> String {
        self.naming.name(finding)
    }

    fn line(&mut self, text: &str) {
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    fn heading(&mut self, text: &str) {
        let heading = self.painted(text, Ink::Heading);
        self.line("");
        self.line(&heading);
    }

    /// Wraps `text` behind `first`, its further lines indented to match.
    fn paragraph(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(display_width(first));
        let options = Options::new(COLUMNS)
            .initial_indent(first)
            .subsequent_indent(&indent)
            .word_splitter(WordSplitter::NoHyphenation);
        for line in textwrap::wrap(text, options) {
            self.line(&line);
        }
    }
}

#[cfg(test)]
mod tests;
