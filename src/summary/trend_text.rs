//! Shots over their versions as text.
//!
//! Of one shot every version has a row with its number on a ruler of tolerances, so that time runs down the page and a
//! shot that gets better moves to the left. Of many shots each has one row with a letter a version.

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use super::page::Page;
use super::trend::{ShotTrend, TrendCheck, VersionPoint};
use crate::findings::numbers::{TOLERANCES, number_words, of_tolerance_words, plain_number};
use crate::findings::{ShotVerdict, Verdict};
use crate::printable_text;
use crate::report::columns::{cell, clip};
use crate::report::wording::{bound_sign, prose};

/// Marks of the ruler, in tolerances: each is as far from the one before as the others are.
const RULER: [u32; 5] = [0, 1, 3, 7, 15];

/// Columns from one mark to the next: at least and at most.
const STEP_COLUMNS: [usize; 2] = [4, 9];

/// Columns that the words beside the ruler should have.
const WORDS_COLUMNS: usize = 48;

/// Versions whose letters one row shows in any case.
const FEWEST_LETTERS: usize = 8;

/// What the ruler shows.
const RULER_MARKS: &str = "On the ruler: o the number, - two standard deviations each way, | the tolerance";

/// What the letters mean.
const LETTERS: &str = "= match, ? unsure, X mismatch, w waived, ! not checked, . not given";

/// One shot in detail.
pub(super) fn one_shot(page: &mut Page, trend: &ShotTrend) {
    page.heading(&clip(&format!("{} OVER ITS VERSIONS", printable_text(&trend.shot)), page.columns));
    page.paragraph("", &format!("{}. {RULER_MARKS}", history(trend)));
    let version = widest(trend.versions.iter().map(version_name), 12);
    let before = 2 + version + 2 + 8 + 2;
    let room = page.columns.saturating_sub(before + WORDS_COLUMNS);
    let step = (room / (RULER.len() - 1)).clamp(STEP_COLUMNS[0], STEP_COLUMNS[1]);
    let ruler = Ruler { step };
    page.line(&format!("{}{}  x tolerance", " ".repeat(before), ruler.marks()));
    for point in &trend.versions {
        let verdict = page.painted(&format!("{:<8}", point.verdict.word()), point.verdict);
        let room = page.columns.saturating_sub(before + ruler.columns() + 2).max(1);
        let words = point_words(point);
        let mut lines =
            textwrap::wrap(&words, Options::new(room).word_splitter(WordSplitter::NoHyphenation)).into_iter();
        let first = lines.next().unwrap_or_default();
        page.line(&format!("  {}  {verdict}  {}  {first}", cell(&version_name(point), version), ruler.row(point)));
        let indent = " ".repeat(before + ruler.columns() + 2);
        lines.for_each(|line| page.line(&format!("{indent}{line}")));
    }
    checks(page, trend);
}

/// Every check over the versions: a letter each, then the first and the last number.
fn checks(page: &mut Page, trend: &ShotTrend) {
    let mut names: Vec<Key<'_>> = trend.versions.iter().flat_map(|point| &point.checks).map(key).collect();
    names.sort_unstable();
    names.dedup();
    let letters_of = |key: &Key<'_>| -> String { trend.versions.iter().map(|p| letter(p, find(p, key))).collect() };
    let mut rows: Vec<(Key<'_>, String)> = names.into_iter().map(|key| (key, letters_of(&key))).collect();
    let badness = |letters: &str| ['X', '?'].map(|letter| letters.matches(letter).count());
    rows.sort_by_key(|(_, letters)| std::cmp::Reverse(badness(letters)));
    if rows.is_empty() {
        return;
    }
    page.line("");
    page.paragraph("  ", &format!("By check, oldest version first ({LETTERS}), with the first and the last number:"));
    let name = widest(rows.iter().map(|(key, _)| key_words(key)), 34);
    let most = page.columns.saturating_sub(name + 4 + WORDS_COLUMNS / 2).max(FEWEST_LETTERS);
    let width = widest(rows.iter().map(|(_, letters)| last_letters(letters, most)), most);
    for (key, letters) in &rows {
        let measured = trend.versions.iter().filter_map(|point| find(point, key)).filter(|check| check.value.is_some());
        let measured: Vec<&TrendCheck> = measured.collect();
        let words = match measured.as_slice() {
            [] => "not measured".to_owned(),
            [only] => with_tolerance(&value(only, only.value_sd), only),
            [first, .., last] => {
                with_tolerance(&format!("{} -> {}", value(first, None), value(last, last.value_sd)), last)
            }
        };
        let row = format!("  {}  {}  {words}", cell(&key_words(key), name), cell(&last_letters(letters, most), width));
        page.line(&clip(&row, page.columns));
    }
}

/// Many shots, a row each; `rest` are not listed.
pub(super) fn many_shots(page: &mut Page, trends: &[ShotTrend], rest: usize) {
    page.heading("OVER THE VERSIONS");
    page.paragraph("", &format!("One mark per version, oldest first: {LETTERS}"));
    let name = widest(trends.iter().map(|trend| printable_text(&trend.shot)), 20);
    let most = (page.columns.saturating_sub(name + 4) / 2).max(FEWEST_LETTERS);
    let letters =
        |trend: &ShotTrend| last_letters(&trend.versions.iter().map(verdict_letter).collect::<String>(), most);
    let width = widest(trends.iter().map(&letters), most);
    for trend in trends {
        let names = cell(&printable_text(&trend.shot), name);
        let row = format!("  {names}  {}  {}", cell(&letters(trend), width), history(trend));
        page.line(&clip(&row, page.columns));
    }
    if rest > 0 {
        page.line(&format!("  and {rest} more: --all lists them, --shot NAME shows one in detail"));
    }
}

/// `v001 to v012, 12 versions; match since v009`.
fn history(trend: &ShotTrend) -> String {
    let (Some(first), Some(last)) = (trend.versions.first(), trend.versions.last()) else { return String::new() };
    let verdict = last.verdict.word();
    let since = match trend.since() {
        Some(point) if point.version == last.version => format!("now {verdict}"),
        Some(point) => format!("{verdict} since {}", version_name(point)),
        None => format!("{verdict} from the first"),
    };
    match trend.versions.len() {
        1 => format!("only {}: {verdict}", version_name(first)),
        count => format!("{} to {}, {count} versions; {since}", version_name(first), version_name(last)),
    }
}

/// A ruler whose marks are `step` columns apart, tolerances by the logarithm of one more.
struct Ruler {
    step: usize,
}

impl Ruler {
    fn columns(&self) -> usize {
        self.step * (RULER.len() - 1) + 1
    }

    fn marks(&self) -> String {
        let mut marks = " ".repeat(self.columns() + 1);
        for (index, mark) in RULER.iter().enumerate() {
            let text = mark.to_string();
            marks.replace_range(index * self.step..index * self.step + text.len(), &text);
        }
        marks.trim_end().to_owned()
    }

    /// The column of so many tolerances; what lies beyond the ruler's end is at its end.
    fn column(&self, tolerances: f64) -> usize {
        let at = (1.0 + tolerances.max(0.0)).log2() * self.step as f64;
        (at.round() as usize).min(self.columns() - 1)
    }

    /// The number as `o`, two standard deviations each way as dashes, the tolerance as a bar. A bound points to where
    /// the number may be.
    fn row(&self, point: &VersionPoint) -> String {
        let mut row = vec![' '; self.columns()];
        row[self.column(1.0)] = '|';
        if let Some(number) = point.number.as_ref().filter(|number| number.tolerance > 0.0) {
            let (value, sd) = (number.value.abs(), number.value_sd.unwrap_or(0.0));
            let at = |value: f64| self.column(value / number.tolerance);
            row[at(value - 2.0 * sd)..=at(value + 2.0 * sd)].fill('-');
            let end = (1.0 + value / number.tolerance).log2() > (RULER.len() - 1) as f64;
            row[at(value)] = match number.value_bound.as_deref() {
                Some("lower") => '>',
                Some("upper") => '<',
                _ if end => '>',
                _ => 'o',
            };
        }
        row.into_iter().collect()
    }
}

fn point_words(point: &VersionPoint) -> String {
    match (&point.number, &point.why) {
        (Some(number), _) => prose(&format!("{} {}", number.check, number.words)),
        (None, why) => prose(why.as_deref().unwrap_or_default()),
    }
}

/// Check and mirror.
type Key<'a> = (&'a str, Option<&'a str>);

fn key(check: &TrendCheck) -> Key<'_> {
    (check.check.name(), check.mirror.as_deref())
}

fn key_words((check, mirror): &Key<'_>) -> String {
    let mirror = mirror.map(|mirror| format!(" {mirror}")).unwrap_or_default();
    printable_text(&format!("{check}{mirror}"))
}

fn find<'a>(point: &'a VersionPoint, wanted: &Key<'_>) -> Option<&'a TrendCheck> {
    point.checks.iter().find(|check| key(check) == *wanted)
}

fn letter(point: &VersionPoint, check: Option<&TrendCheck>) -> char {
    match check {
        None if point.verdict == ShotVerdict::Error => '!',
        Some(check) if check.waived => 'w',
        Some(check) => match check.verdict {
            Verdict::Match => '=',
            Verdict::Unsure => '?',
            Verdict::Mismatch => 'X',
            Verdict::NotGiven => '.',
        },
        None => '.',
    }
}

fn verdict_letter(point: &VersionPoint) -> char {
    match point.verdict {
        ShotVerdict::Match => '=',
        ShotVerdict::Unsure => '?',
        ShotVerdict::Mismatch => 'X',
        ShotVerdict::Error => '!',
    }
}

/// The last `most` letters, two dots before them where there are more.
fn last_letters(letters: &str, most: usize) -> String {
    let count = letters.chars().count();
    if count <= most {
        letters.to_owned()
    } else {
        format!("..{}", letters.chars().skip(count - most + 2).collect::<String>())
    }
}

fn value(check: &TrendCheck, sd: Option<f64>) -> String {
    let words = check.value.map(|value| {
        if check.unit == TOLERANCES {
            return of_tolerance_words(value, sd);
        }
        number_words(value, sd, &check.unit, check.unit != "deg")
    });
    let words = words.unwrap_or_default();
    format!("{}{words}", bound_sign(check.value_bound.as_deref()))
}

fn with_tolerance(words: &str, check: &TrendCheck) -> String {
    if check.unit == TOLERANCES {
        return words.to_owned();
    }
    let unit = printable_text(&check.unit);
    if check.tolerance > 0.0 && check.tolerance.is_finite() {
        format!("{words} {unit} ({})", plain_number(check.tolerance))
    } else {
        format!("{words} {unit}")
    }
}

fn version_name(point: &VersionPoint) -> String {
    point.version.as_deref().map_or_else(|| "(none)".to_owned(), printable_text)
}

fn widest(names: impl Iterator<Item = String>, most: usize) -> usize {
    names.map(|name| display_width(&name)).max().unwrap_or(0).min(most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::CheckId;
    use crate::summary::Number;

    fn point(version: &str, times: f64, verdict: ShotVerdict) -> VersionPoint {
        let (value, tolerance) = (times * 0.25, 0.25);
        let number = Number {
            check: CheckId::Exposure,
            mirror: None,
            value,
            value_sd: Some(0.01),
            value_bound: None,
            unit: "stops".to_owned(),
            tolerance,
            words: format!("{value:+.2} stops (0.25 stops)"),
        };
        let check = TrendCheck {
            check: CheckId::Exposure,
            mirror: None,
            verdict: if times > 1.0 { Verdict::Mismatch } else { Verdict::Match },
            waived: false,
            value: Some(value),
            value_sd: Some(0.01),
            value_bound: None,
            unit: "stops".to_owned(),
            tolerance,
        };
        VersionPoint {
            version: Some(version.to_owned()),
            verdict,
            number: Some(number),
            why: None,
            checks: vec![check],
        }
    }

    #[test]
    fn a_number_in_tolerances_is_told_in_percent() {
        let check = TrendCheck {
            unit: TOLERANCES.to_owned(),
            value: Some(3.2),
            value_sd: Some(0.1),
            tolerance: 1.0,
            ..point("v1", 3.2, ShotVerdict::Mismatch).checks[0].clone()
        };
        let words = with_tolerance(&value(&check, check.value_sd), &check);
        assert_eq!(words, "320 +/- 10 % of tolerance");
    }

    fn falling() -> ShotTrend {
        use ShotVerdict::{Match, Mismatch};
        let versions = [("v1", 40.0, Mismatch), ("v2", 7.0, Mismatch), ("v3", 3.0, Mismatch), ("v4", 0.0, Match)];
        let versions = versions.map(|(version, times, verdict)| point(version, times, verdict)).to_vec();
        ShotTrend { shot: "SF_0010".to_owned(), versions }
    }

    #[test]
    fn a_shot_that_gets_better_moves_to_the_left() {
        for columns in [60, 80, 200] {
            let mut page = Page::new(columns, false);
            one_shot(&mut page, &falling());
            let rows: Vec<&str> = page.text.lines().filter(|line| line.starts_with("  v")).collect();
            let marks = page.text.lines().find(|line| line.ends_with("x tolerance")).unwrap();
            let column = |row: &str, mark: char| row.find(mark).unwrap();
            assert_eq!(column(rows[0], '>'), column(marks, '5') - 1, "beyond the end: {}", page.text);
            assert_eq!(column(rows[1], 'o'), column(marks, '7'), "{}", page.text);
            assert_eq!(column(rows[2], 'o'), column(marks, '3'), "{}", page.text);
            assert_eq!(column(rows[3], 'o'), column(marks, '0'), "{}", page.text);
            assert!(rows.iter().all(|row| row.find('|').is_none_or(|bar| bar == column(marks, '1'))), "{}", page.text);
            assert!(page.text.lines().all(|line| display_width(line) <= columns), "{}", page.text);
            assert!(page.text.contains("now match") && page.text.contains("XXX="), "{}", page.text);
        }
    }

    #[test]
    fn more_versions_than_a_row_holds_keep_the_last() {
        assert_eq!(last_letters("XXXX====", 8), "XXXX====");
        assert_eq!(last_letters("XXXX=====", 8), "..X=====");
        let mut page = Page::new(60, false);
        many_shots(&mut page, &[falling()], 3);
        assert!(page.text.contains("  SF_0010  XXX=  v1 to v4, 4 versions"), "{}", page.text);
        assert!(page.text.contains("and 3 more"), "{}", page.text);
    }
}
