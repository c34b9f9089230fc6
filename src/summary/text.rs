//! The summary as text: one screen, worst first.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use super::page::{PAGE_COLUMNS, Page};
use super::{Change, ChangeKind, CheckCount, Comparison, FaultGroup, ShotLine, ShotTrend, Summary, trend_text};
use crate::findings::{CheckId, ShotVerdict};
use crate::printable_text;
use crate::report::columns::{cell, clip};
use crate::report::wording::prose;

/// Lines of one screen, and of them those kept for the part about changes.
const SCREEN_LINES: usize = 40;
const CHANGES_LINES: usize = 14;

/// Shots that are listed however much stands above them.
const FEWEST_ROWS: usize = 8;

/// Shots named in the part about changes.
const CHANGES_SHOWN: usize = 10;

/// A name of more columns is cut beside a text that has to be read.
const LONGEST_NAME: usize = 30;

/// How the text is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// List every shot; else the table ends where a screen of 40 lines is full, with a count of the rest.
    pub all: bool,
    /// ANSI colours, for terminals only.
    pub colour: bool,
    /// Columns of the page, held to 60 to 200.
    pub columns: usize,
}

impl Default for Layout {
    fn default() -> Self {
        Self { all: false, colour: false, columns: PAGE_COLUMNS }
    }
}

/// The summary as text; `title` names what is summed up.
pub fn render_summary_text(summary: &Summary, title: &str, layout: Layout) -> String {
    let mut page = Page::new(layout.columns, layout.colour);
    page.head(summary, title);
    page.patterns(summary);
    page.by_check(summary, layout.all);
    match summary.trends.as_slice() {
        [] => page.shots(summary, layout.all),
        trends => page.trends(summary, trends, layout.all),
    }
    if let Some(comparison) = &summary.comparison {
        page.comparison(summary, comparison, layout.all);
    }
    page.troubles(summary);
    page.text
}

impl Page {
    fn head(&mut self, summary: &Summary, title: &str) {
        let verdict = summary.verdict.word().to_uppercase();
        let left = format!("plateproof summary  {}", printable_text(title));
        let room = self.columns - verdict.len() - 2;
        let left = clip(&left, room);
        let gap = " ".repeat(self.columns - display_width(&left) - verdict.len());
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

    /// Checks that found something, a line for each verdict; with `all` every check in a table.
    fn by_check(&mut self, summary: &Summary, all: bool) {
        let found = !lines_by_verdict(&summary.by_check).is_empty();
        if summary.shots.len() < 2 || (!found && !all) {
            return;
        }
        self.heading("BY CHECK");
        if !all {
            return lines_by_verdict(&summary.by_check).iter().for_each(|[verdict, checks]| {
                self.paragraph(&format!("  {verdict:<11}  "), checks);
            });
        }
        let name =
            summary.by_check.iter().map(|count| display_width(&printable_text(count.check.name()))).max().unwrap_or(0);
        let name = name.min(self.columns - 57);
        self.line(&format!("  {}  mismatch  set-problem  waived  unsure  match  not given", " ".repeat(name)));
        for count in &summary.by_check {
            let CheckCount { check, mismatch, set_problem, waived, unsure, matching, not_given } = count;
            let check = cell(&printable_text(check.name()), name);
            let off = format!("{mismatch:>8}  {set_problem:>11}  {waived:>6}");
            self.line(&format!("  {check}  {off}  {unsure:>6}  {matching:>5}  {not_given:>9}"));
        }
    }

    fn trends(&mut self, summary: &Summary, trends: &[ShotTrend], all: bool) {
        if let [only] = trends {
            return trend_text::one_shot(self, only);
        }
        let shown = if all { trends.len() } else { trends.len().min(self.rows_left(summary)) };
        trend_text::many_shots(self, &trends[..shown], trends.len() - shown);
    }

    fn shots(&mut self, summary: &Summary, all: bool) {
        if summary.shots.is_empty() {
            return;
        }
        self.heading("SHOTS, WORST FIRST (the deciding number, its tolerance in brackets)");
        let rows = rows(summary);
        let widest = |name: fn(&ShotLine) -> String, most: usize| {
            rows.iter().filter_map(Row::shot).map(|l| display_width(&name(l))).max().unwrap_or(0).min(most)
        };
        let widths = [widest(shot_name, 20), widest(version_name, 10)];
        let last_line = self.text.lines().count() + self.rows_left(summary);
        let mut shown = 0;
        for row in &rows {
            // A row may take two lines. The last one stands where its count would.
            let is_last = shown + 1 == rows.len();
            if !all && !is_last && self.text.lines().count() + 1 >= last_line {
                break;
            }
            match row {
                Row::Group(group) => self.line(&clip(&format!("  {}:", group_words(group)), self.columns)),
                Row::Others(verdict) => self.line(&format!("  other shots {}:", verdict.word())),
                Row::Shot(line) => self.shot(line, widths),
            }
            shown += 1;
        }
        let rest: Vec<&ShotLine> = rows[shown..].iter().filter_map(Row::shot).collect();
        if !rest.is_empty() {
            self.line(&format!("  and {}: --all lists them", counts_of(&rest)));
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
        let room = self.columns - 12 - display_width(&names) - 2;
        let set = line.set_words();
        // A fault from set is the one thing to know of a shot that matches otherwise.
        let words = match (line.verdict, set.is_empty()) {
            (ShotVerdict::Match, false) => format!("{set}{waived}; {}", line.number_words()),
            (_, false) => format!("{}{waived}; {set}", line.number_words()),
            (_, true) => line.number_words() + &waived,
        };
        let words = prose(&words);
        let lines = textwrap::wrap(&words, Options::new(room).word_splitter(WordSplitter::NoHyphenation));
        let mut lines = lines.into_iter();
        let first = lines.next().unwrap_or_default();
        self.line(&format!("  {verdict}  {names}  {first}"));
        let indent = " ".repeat(self.columns - room);
        for line in lines {
            self.line(&format!("{indent}{line}"));
        }
    }

    fn comparison(&mut self, summary: &Summary, comparison: &Comparison, all: bool) {
        self.heading(&clip(&format!("SINCE {}", printable_text(&comparison.against)), self.columns));
        self.line(&format!("  {}", changes(comparison)));
        let mut changed: Vec<(&ShotLine, &Change)> =
            summary.shots.iter().filter_map(|line| Some((line, line.change.as_ref()?))).collect();
        changed.retain(|(_, change)| change.kind != ChangeKind::Same);
        changed.sort_by_key(|(_, change)| change.kind);
        let shown = if all { changed.len() } else { changed.len().min(CHANGES_SHOWN) };
        for (line, change) in &changed[..shown] {
            let first = format!("  {:<10}  {}  ", change.kind.word(), clip(&shot_name(line), LONGEST_NAME));
            self.hanging(&first, &then_and_now(line, change));
        }
        if shown < changed.len() {
            self.line(&format!("  and {} more: --all lists them", changed.len() - shown));
        }
        let shown = if all { comparison.gone.len() } else { comparison.gone.len().min(CHANGES_SHOWN) };
        for gone in &comparison.gone[..shown] {
            let version = gone.version.as_deref().unwrap_or_default();
            let row =
                format!("  {:<10}  {}  was {version} {}", "gone", printable_text(&gone.shot), gone.verdict.word());
            self.line(&clip(&row, self.columns));
        }
        if shown < comparison.gone.len() {
            self.line(&format!("  and {} more gone: --all lists them", comparison.gone.len() - shown));
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
}

/// A row of the table.
enum Row<'a> {
    /// What the shots of the next rows have in common.
    Group(&'a FaultGroup),
    /// They have nothing in common with the rows before but the verdict.
    Others(ShotVerdict),
    Shot(&'a ShotLine),
}

impl<'a> Row<'a> {
    fn shot(&self) -> Option<&'a ShotLine> {
        if let Self::Shot(line) = self { Some(line) } else { None }
    }
}

/// Of each verdict first the groups with like faults, the largest first, then the others.
fn rows(summary: &Summary) -> Vec<Row<'_>> {
    let group_of: BTreeMap<&str, usize> = summary
        .groups
        .iter()
        .enumerate()
        .flat_map(|(index, group)| group.shots.iter().map(move |shot| (shot.as_str(), index)))
        .collect();
    let group = |line: &ShotLine| group_of.get(line.shot.as_str()).copied().unwrap_or(usize::MAX);
    let mut lines: Vec<&ShotLine> = summary.shots.iter().collect();
    lines.sort_by_key(|line| (Reverse(line.verdict), group(line)));
    let mut rows = Vec::with_capacity(lines.len() + summary.groups.len());
    let mut last: Option<(usize, ShotVerdict)> = None;
    for line in lines {
        let group = group(line);
        match summary.groups.get(group) {
            Some(shared) if last.is_none_or(|last| last.0 != group) => rows.push(Row::Group(shared)),
            None if last.is_some_and(|last| last.0 != group && last.1 == line.verdict) => {
                rows.push(Row::Others(line.verdict));
            }
            _ => {}
        }
        last = Some((group, line.verdict));
        rows.push(Row::Shot(line));
    }
    rows
}

fn group_words(group: &FaultGroup) -> String {
    let sides = match group.check {
        CheckId::Exposure | CheckId::LightGains => ["too dark", "too bright"],
        CheckId::KeyFillRatio => ["too little contrast", "too much contrast"],
        CheckId::FieldOfView => ["too narrow", "too wide"],
        _ => ["below the photographed side", "above the photographed side"],
    };
    let side = match group.side.as_deref() {
        Some("negative") => format!(", CG {}", sides[0]),
        Some(_) => format!(", CG {}", sides[1]),
        None => String::new(),
    };
    format!("{} shots {} in {}{side}", group.shots.len(), group.verdict.word(), printable_text(group.check.name()))
}

/// `mismatch`, then `exposure 3, key-fill-ratio 2`, those of most shots first; no line for a verdict without checks.
fn lines_by_verdict(counts: &[CheckCount]) -> Vec<[String; 2]> {
    type Count = fn(&CheckCount) -> usize;
    let verdicts: [(&str, Count); 4] = [
        ("mismatch", |count| count.mismatch),
        ("unsure", |count| count.unsure),
        ("set-problem", |count| count.set_problem),
        ("waived", |count| count.waived),
    ];
    let line = |(verdict, of): &(&str, Count)| {
        let mut checks: Vec<&CheckCount> = counts.iter().filter(|count| of(count) > 0).collect();
        checks.sort_by_key(|count| Reverse(of(count)));
        let checks = checks.into_iter().map(|count| format!("{} {}", printable_text(count.check.name()), of(count)));
        let checks = checks.collect::<Vec<_>>().join(", ");
        (!checks.is_empty()).then(|| [(*verdict).to_owned(), checks])
    };
    verdicts.iter().filter_map(line).collect()
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
    format!("{}{waived}{older}", counts_of(&summary.shots.iter().collect::<Vec<_>>()))
}

/// `14 shots: 3 mismatch, 11 match`.
fn counts_of(shots: &[&ShotLine]) -> String {
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

/// `v003 mismatch -> v004 match, ; was exposure -0.64 stops (0.25 stops)`.
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
    let number = number.map(|words| format!("; was {}", prose(words))).unwrap_or_default();
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
        let text = render_summary_text(&summary, "reports", Layout::default());
        assert!(text.lines().count() <= 40, "{text}");
        assert!(text.contains(" mismatch: --all lists them"), "{text}");
        assert!(
            render_summary_text(&summary, "reports", Layout { all: true, ..Layout::default() }).contains("SF_0399")
        );
        for text in [text, render_summary_text(&full(), &"long/".repeat(40), Layout { all: true, ..Layout::default() })]
        {
            assert!(text.lines().all(|line| display_width(line) <= PAGE_COLUMNS), "{text}");
        }
    }

    #[test]
    fn like_faults_stand_together_under_what_they_share() {
        let shots = ["SF_0010", "SF_0020", "SF_0030"].map(|name| named(sample::mismatch(), name)).to_vec();
        let mut lines = shots;
        lines[1].number.as_mut().unwrap().check = CheckId::Scale;
        lines.push(named(sample::all_match(), "SF_0040"));
        let summary = Summary::new(ReportSet { lines, ..ReportSet::default() }, None);
        let text = render_summary_text(&summary, "reports", Layout::default());
        let place = |words: &str| text.find(words).unwrap_or_else(|| panic!("{words}? {text}"));
        let order = ["2 shots mismatch in", "SF_0010", "SF_0030", "other shots mismatch:", "SF_0020", "SF_0040"];
        assert!(order.windows(2).all(|pair| place(pair[0]) < place(pair[1])), "{text}");
        assert!(text.contains("BY CHECK") && !text.contains("other shots match:"), "{text}");
        let wide = render_summary_text(&summary, "reports", Layout { columns: 150, ..Layout::default() });
        assert!(wide.lines().next().unwrap().len() == 150, "{wide}");
    }

    #[test]
    fn the_first_line_says_the_verdict_and_hostile_names_are_escaped() {
        let text = render_summary_text(&full(), "reports", Layout::default());
        assert!(text.lines().next().unwrap().ends_with("ERROR"), "{text}");
        assert!(!text.contains('\u{1b}') && text.contains("SF_<0040>\\u{1b}"), "{text}");
        assert!(text.contains("waived      SF_0010"), "{text}");
        assert!(text.contains("gone        SF_0009"), "{text}");
        let words: Vec<&str> = text.split_whitespace().collect();
        assert!(words.join(" ").contains("2 older versions left out"), "{text}");
    }
}
