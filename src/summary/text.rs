//! The summary as text: one screen, worst first.

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use super::Comparison;
use super::{Change, ChangeKind, ShotLine, Summary};
use crate::findings::ShotVerdict;
use crate::printable_text;
use crate::report::columns::{cell, clip};
use crate::report::wording::prose;

/// Columns of the page.
const COLUMNS: usize = 80;

/// Lines of one screen, and of them those kept for the part about changes.
const SCREEN_LINES: usize = 40;
const CHANGES_LINES: usize = 14;

/// Shots that are listed however much stands above them.
const FEWEST_ROWS: usize = 8;

/// Shots named in the part about changes.
const CHANGES_SHOWN: usize = 10;

/// The summary as text of at most 80 columns; `title` names what is summed up.
///
/// Without `all` the table ends where a screen of 40 lines is full, with a count of the rest. `colour` adds ANSI colours and is for
/// terminals only.
pub fn render_summary_text(summary: &Summary, title: &str, all: bool, colour: bool) -> String {
    let mut page = Page { text: String::new(), colour };
    page.head(summary, title);
    page.patterns(summary);
    page.shots(summary, all);
    if let Some(comparison) = &summary.comparison {
        page.comparison(summary, comparison, all);
    }
    page.troubles(summary);
    page.text
}

struct Page {
    text: String,
    colour: bool,
}

impl Page {
    fn head(&mut self, summary: &Summary, title: &str) {
        let verdict = summary.verdict.word().to_uppercase();
        let left = format!("plateproof summary  {}", printable_text(title));
        let room = COLUMNS - verdict.len() - 2;
        let left = clip(&left, room);
        let gap = " ".repeat(COLUMNS - display_width(&left) - verdict.len());
        let verdict = self.painted(&verdict, summary.verdict);
        self.line(&format!("{left}{gap}{verdict}"));
        self.paragraph("", &counts(summary));
    }

    fn patterns(&mut self, summary: &Summary) {
        if summary.patterns.is_empty() {
            return;
        }
        self.heading("SHARED BY THE SHOTS");
        for pattern in &summary.patterns {
            self.paragraph("  - ", &pattern.sentence);
        }
    }

    fn shots(&mut self, summary: &Summary, all: bool) {
        if summary.shots.is_empty() {
            return;
        }
        self.heading("SHOTS, WORST FIRST (the one number that matters, its tolerance in brackets)");
        let shown = if all { summary.shots.len() } else { summary.shots.len().min(self.rows_left(summary)) };
        let (shown, rest) = summary.shots.split_at(shown);
        let widest = |name: fn(&ShotLine) -> String, most: usize| {
            shown.iter().map(|l| display_width(&name(l))).max().unwrap_or(0).min(most)
        };
        let widths = [widest(shot_name, 20), widest(version_name, 10)];
        for line in shown {
            self.shot(line, widths);
        }
        if !rest.is_empty() {
            self.line(&format!("  and {}: --all lists them", counts_of(rest)));
        }
    }

    /// Rows that a screen still holds, with a line for the count of the rest.
    fn rows_left(&self, summary: &Summary) -> usize {
        let changes = if summary.comparison.is_some() { CHANGES_LINES } else { 0 };
        SCREEN_LINES.saturating_sub(self.text.lines().count() + changes + 1).max(FEWEST_ROWS)
    }

    fn shot(&mut self, line: &ShotLine, [name, version]: [usize; 2]) {
        let verdict = self.painted(&format!("{:<8}", line.verdict.word()), line.verdict);
        let names = format!("{}  {}", cell(&shot_name(line), name), cell(&version_name(line), version));
        let waived = if line.waived > 0 { format!(", {} waived", line.waived) } else { String::new() };
        let room = COLUMNS - 12 - display_width(&names) - 2;
        let set = line.set_words();
        // A fault from set is the one thing to know of a shot that matches otherwise.
        let words = match (line.verdict, set.is_empty()) {
            (ShotVerdict::Match, false) => format!("{set}{waived}; {}", line.number_words()),
            (_, false) => format!("{}{waived}; {set}", line.number_words()),
            (_, true) => line.number_words() + &waived,
        };
        let number = clip(&prose(&words), room);
        self.line(&format!("  {verdict}  {names}  {number}"));
    }

    fn comparison(&mut self, summary: &Summary, comparison: &Comparison, all: bool) {
        self.heading(&clip(&format!("SINCE {}", printable_text(&comparison.against)), COLUMNS));
        self.line(&format!("  {}", changes(comparison)));
        let mut changed: Vec<(&ShotLine, &Change)> =
            summary.shots.iter().filter_map(|line| Some((line, line.change.as_ref()?))).collect();
        changed.retain(|(_, change)| change.kind != ChangeKind::Same);
        changed.sort_by_key(|(_, change)| change.kind);
        let shown = if all { changed.len() } else { changed.len().min(CHANGES_SHOWN) };
        for (line, change) in &changed[..shown] {
            let row = format!("  {:<10}  {}  {}", change.kind.word(), shot_name(line), then_and_now(line, change));
            self.line(&clip(&row, COLUMNS));
        }
        if shown < changed.len() {
            self.line(&format!("  and {} more: --all lists them", changed.len() - shown));
        }
        for gone in comparison.gone.iter().take(if all { usize::MAX } else { CHANGES_SHOWN }) {
            let version = gone.version.as_deref().unwrap_or_default();
            let row =
                format!("  {:<10}  {}  was {version} {}", "gone", printable_text(&gone.shot), gone.verdict.word());
            self.line(&clip(&row, COLUMNS));
        }
    }

    fn troubles(&mut self, summary: &Summary) {
        if summary.unusable.is_empty() && summary.warnings.is_empty() {
            return;
        }
        self.heading("NOT READ, AND WARNINGS");
        for error in &summary.unusable {
            self.paragraph("  - ", &prose(&format!("{}: {}; {}", error.file, error.cause, error.remedy)));
        }
        for warning in &summary.warnings {
            self.paragraph("  - ", &prose(warning));
        }
    }

    fn heading(&mut self, text: &str) {
        let text = if self.colour { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() };
        self.line("");
        self.line(&text);
    }

    fn paragraph(&mut self, first: &str, text: &str) {
        let options = Options::new(COLUMNS)
            .initial_indent(first)
            .subsequent_indent("    ")
            .word_splitter(WordSplitter::NoHyphenation);
        for line in textwrap::wrap(text, options) {
            self.line(&line);
        }
    }

    fn line(&mut self, text: &str) {
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    /// Colours that keep apart for the colour-blind; the word itself always says the verdict.
    fn painted(&self, text: &str, verdict: ShotVerdict) -> String {
        let code = match verdict {
            ShotVerdict::Match => "36",
            ShotVerdict::Unsure => "1;33",
            ShotVerdict::Mismatch | ShotVerdict::Error => "1;31",
        };
        if self.colour { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

fn counts(summary: &Summary) -> String {
    let waived = match summary.counts.waived_findings {
        0 => String::new(),
        1 => "; 1 finding waived".to_owned(),
        count => format!("; {count} findings waived"),
    };
    let older = match summary.older_reports {
        0 => String::new(),
        1 => "; 1 older version left out".to_owned(),
        count => format!("; {count} older versions left out"),
    };
    format!("{}{waived}{older}", counts_of(&summary.shots))
}

/// `14 shots: 3 mismatch, 11 match`.
fn counts_of(shots: &[ShotLine]) -> String {
    let order = [ShotVerdict::Error, ShotVerdict::Mismatch, ShotVerdict::Unsure, ShotVerdict::Match];
    let count = |verdict| shots.iter().filter(|line| line.verdict == verdict).count();
    let parts = order.map(|verdict| (count(verdict), verdict.word())).into_iter().filter(|(n, _)| *n > 0);
    let parts: Vec<String> = parts.map(|(n, word)| format!("{n} {word}")).collect();
    match shots.len() {
        0 => "no shots".to_owned(),
        1 => format!("1 shot: {}", parts.join(", ")),
        n => format!("{n} shots: {}", parts.join(", ")),
    }
}

fn changes(comparison: &Comparison) -> String {
    let parts = [
        (comparison.worse, "worse"),
        (comparison.first_seen, "first seen"),
        (comparison.same, "same"),
        (comparison.better, "better"),
        (comparison.cured, "cured"),
        (comparison.waived, "waived"),
        (comparison.gone.len(), "gone"),
    ];
    parts.into_iter().map(|(count, word)| format!("{count} {word}")).collect::<Vec<_>>().join(", ")
}

/// `v003 mismatch -> v004 match, exposure -0.64 stops (0.25 stops) then`.
fn then_and_now(line: &ShotLine, change: &Change) -> String {
    let named = |version: Option<&str>, verdict: ShotVerdict| {
        let version = version.map(|v| format!("{} ", printable_text(v))).unwrap_or_default();
        format!("{version}{}", verdict.word())
    };
    let now = named(line.version.as_deref(), line.verdict);
    let Some(verdict) = change.earlier_verdict else { return now };
    let then = named(change.earlier_version.as_deref(), verdict);
    let moved = line.verdict == verdict && change.kind != ChangeKind::Same;
    let number = if line.verdict == ShotVerdict::Match || moved { change.earlier_words.as_deref() } else { None };
    let number = number.map(|words| format!("; then {}", prose(words))).unwrap_or_default();
    format!("{then} -> {now}{number}")
}

fn shot_name(line: &ShotLine) -> String {
    printable_text(&line.shot)
}

fn version_name(line: &ShotLine) -> String {
    printable_text(line.version.as_deref().unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::super::document::tests::{full, named};
    use super::super::{ReportSet, Summary};
    use super::*;
    use crate::findings::sample;

    #[test]
    fn a_screen_holds_it_and_no_line_is_wider_than_the_page() {
        let lines = (0..400).map(|i| named(sample::mismatch(), &format!("SF_{i:04}"))).collect();
        let summary = Summary::new(ReportSet { lines, ..ReportSet::default() }, None);
        let text = render_summary_text(&summary, "reports", false, false);
        assert!(text.lines().count() <= 40, "{text}");
        assert!(text.contains(" mismatch: --all lists them"), "{text}");
        assert!(render_summary_text(&summary, "reports", true, false).contains("SF_0399"));
        for text in [text, render_summary_text(&full(), &"long/".repeat(40), true, false)] {
            assert!(text.lines().all(|line| display_width(line) <= COLUMNS), "{text}");
        }
    }

    #[test]
    fn the_first_line_says_the_verdict_and_hostile_names_are_escaped() {
        let text = render_summary_text(&full(), "reports", false, false);
        assert!(text.lines().next().unwrap().ends_with("ERROR"), "{text}");
        assert!(!text.contains('\u{1b}') && text.contains("SF_<0040>\\u{1b}"), "{text}");
        assert!(text.contains("waived      SF_0010"), "{text}");
        assert!(text.contains("gone        SF_0009"), "{text}");
        let words: Vec<&str> = text.split_whitespace().collect();
        assert!(words.join(" ").contains("2 older versions left out"), "{text}");
    }
}
