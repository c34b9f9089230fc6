//! The text report: plain ASCII of our own, at most 80 columns, the worst first, readable in ten seconds.

mod over_time;
mod sections;

use std::borrow::Cow;

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use super::columns::{cell, clip};
use super::glance::{Glance, verdict_heading};
use super::marks::TEXT_MARK;
use crate::findings::{Finding, Naming, Report, ShotVerdict, Verdict};
use crate::printable_text;

/// Columns of the page.
const COLUMNS: usize = 80;

/// Lines of the page's head at most, as far as what is wrong and the first fix leave room.
const HEAD_LINES: usize = 6;

/// The report as text of at most 80 columns.
///
/// `colour` adds ANSI colours and is for terminals only. Order: verdict and shot; what is wrong with the CG, the first
/// fix, what is wrong on set; all fixes; on-set problems; all findings; lights; warnings; and at the end how it was
/// measured. Names and messages from files have their control characters escaped.
///
/// ```
/// # let json = r#"{"format":"plateproof-report/1","tool":{"name":"plateproof","version":"0.1.0"},"shot":"SF_0420",
/// # "verdict":"unsure","spheres":[],"findings":[],"inputs":[],"warnings":[],"error":null}"#;
/// let report: plateproof::findings::Report = serde_json::from_str(json)?;
/// let text = plateproof::report::render_text(&report, false);
/// assert!(text.starts_with("UNSURE  SF_0420"));
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn render_text(report: &Report, colour: bool) -> String {
    let mut page = Page { text: String::new(), colour, naming: Naming::of(report) };
    let shown = head(&mut page, report);
    sections::error(&mut page, report);
    sections::what_to_do(&mut page, report, shown);
    sections::on_set_problems(&mut page, report);
    sections::findings(&mut page, report);
    over_time::over_time(&mut page, report);
    sections::lights(&mut page, report);
    sections::warnings(&mut page, report);
    sections::how_it_was_measured(&mut page, report);
    page.text
}

/// Verdict and shot, what is wrong, the first fixes, what is wrong on set. Returns how many fixes were told whole.
fn head(page: &mut Page, report: &Report) -> usize {
    let verdict = verdict_heading(report);
    let mut name = printable_text(&report.shot);
    if let Some(version) = &report.version {
        name = format!("{name} {}", printable_text(version));
    }
    let room = COLUMNS - TEXT_MARK.len() - verdict.len() - 4;
    let name = clip(&name, room);
    let gap = " ".repeat(room - display_width(&name) + 2);
    let verdict = page.painted(&verdict, shot_colour(report.verdict));
    page.line(&format!("{verdict}  {name}{gap}{TEXT_MARK}"));
    let glance = Glance::of(report);
    page.paragraph("CG    ", &glance.cg);
    let set_lines = wrapped("SET   ", &glance.on_set);
    let mut shown = 0;
    for (index, fix) in glance.fixes.iter().enumerate() {
        let lines = wrapped(if index == 0 { "FIX   " } else { "      " }, fix);
        if index > 0 && page.text.lines().count() + lines.len() + set_lines.len() > HEAD_LINES {
            break;
        }
        page.lines(&lines);
        shown += 1;
    }
    page.lines(&set_lines);
    shown
}

/// Why the shot has its verdict, and what from set does not fit, in one line without a full stop.
pub fn headline(report: &Report) -> String {
    Glance::of(report).line()
}

/// `text` in lines of the page's width behind `first`, the further ones indented to match; none where it is empty.
fn wrapped(first: &str, text: &str) -> Vec<String> {
    if text.is_empty() {
        return Vec::new();
    }
    let indent = " ".repeat(display_width(first));
    let options = Options::new(COLUMNS)
        .initial_indent(first)
        .subsequent_indent(&indent)
        .word_splitter(WordSplitter::NoHyphenation);
    textwrap::wrap(text, options).into_iter().map(Cow::into_owned).collect()
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
        self.lines(&wrapped(first, text));
    }

    fn lines(&mut self, lines: &[String]) {
        for line in lines {
            self.line(line);
        }
    }

    /// The lines of a row of a table whose last column wraps; one at the least.
    fn wrapped_row(first: &str, text: &str) -> Vec<String> {
        let lines = wrapped(first, text);
        if lines.is_empty() { vec![first.to_owned()] } else { lines }
    }
}

#[cfg(test)]
mod tests;
