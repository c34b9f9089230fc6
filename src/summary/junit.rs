//! The summary as JUnit XML, which build servers read.
//!
//! Each shot is a test suite, each check a test case. A mismatch is a failure; so is an unsure check (of type
//! `unsure`), since what could not be decided must not pass for good. A waived mismatch passes and says so; a check
//! whose input was not given is skipped; a shot that could not be done is an error.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::{CheckLine, ShotLine, Summary};
use crate::findings::{Concerns, ErrorNote, ShotVerdict, Verdict};
use crate::printable_text;

/// The summary as a JUnit document.
pub fn render_junit(summary: &Summary) -> String {
    let mut suites = String::new();
    let mut total = Tally::default();
    for line in &summary.shots {
        total = total.plus(suite(&mut suites, line));
    }
    if !summary.unusable.is_empty() {
        total = total.plus(unusable(&mut suites, &summary.unusable));
    }
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites name=\"plateproof\" {}>\n{suites}</testsuites>\n",
        total.attributes(false)
    )
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    tests: usize,
    failures: usize,
    errors: usize,
    skipped: usize,
}

impl Tally {
    fn plus(self, other: Self) -> Self {
        Self {
            tests: self.tests + other.tests,
            failures: self.failures + other.failures,
            errors: self.errors + other.errors,
            skipped: self.skipped + other.skipped,
        }
    }

    fn attributes(self, with_skipped: bool) -> String {
        let counts = format!("tests=\"{}\" failures=\"{}\" errors=\"{}\"", self.tests, self.failures, self.errors);
        if with_skipped { format!("{counts} skipped=\"{}\"", self.skipped) } else { counts }
    }
}

fn suite(text: &mut String, line: &ShotLine) -> Tally {
    let name = match &line.version {
        Some(version) => format!("{}.{version}", line.shot),
        None => line.shot.clone(),
    };
    let name = escaped(&name);
    let mut tally = Tally::default();
    let mut cases = String::new();
    if line.verdict == ShotVerdict::Error {
        tally = Tally { tests: 1, errors: 1, ..tally };
        let remedy = line.remedy.as_deref().unwrap_or_default();
        cases += &case(&name, "shot", &outcome("error", "error", &line.why, remedy));
    } else if line.checks.is_empty() {
        tally = Tally { tests: 1, failures: 1, ..tally };
        cases += &case(&name, "shot", &outcome("failure", "unsure", &line.why, ""));
    }
    let mut names = BTreeSet::new();
    for check in &line.checks {
        let unique = unique_name(check, &line.checks, &mut names);
        tally = tally.plus(check_case(&mut cases, &name, check, &unique));
    }
    // Writing to a String cannot fail.
    let _ = write!(text, "  <testsuite name=\"{name}\" {}>\n{cases}  </testsuite>\n", tally.attributes(true));
    tally
}

/// The check with its mirror and, where it speaks of both sides, the side: build servers tell cases apart by name.
fn unique_name(check: &CheckLine, all: &[CheckLine], taken: &mut BTreeSet<String>) -> String {
    let two_sided = all.iter().any(|other| other.check == check.check && other.concerns != check.concerns);
    let side = two_sided.then(|| check.concerns.side_word().to_owned());
    let marks: Vec<String> = check.mirror.iter().cloned().chain(side).collect();
    let base =
        if marks.is_empty() { check.check.to_string() } else { format!("{} ({})", check.check, marks.join(", ")) };
    let mut name = base.clone();
    let mut count = 1;
    while !taken.insert(name.clone()) {
        count += 1;
        name = format!("{base} {count}");
    }
    name
}

fn check_case(cases: &mut String, suite: &str, check: &CheckLine, name: &str) -> Tally {
    let mut tally = Tally { tests: 1, ..Tally::default() };
    let failed = |kind: &str| outcome("failure", kind, &check.words, &check.advice);
    let said = match (check.verdict, &check.waived) {
        (Verdict::Mismatch, Some(waived)) => format!("      <system-out>{}</system-out>\n", escaped(waived)),
        // What came from set accuses nobody's render: it widens doubts elsewhere and stands here to be read.
        (Verdict::Mismatch | Verdict::Unsure, None) if check.concerns == Concerns::Reference => {
            let words = format!("{}: {} {}", check.verdict.word(), check.words, check.advice);
            format!("      <system-out>{}</system-out>\n", escaped(&words))
        }
        (Verdict::Mismatch, None) => {
            tally.failures = 1;
            failed("mismatch")
        }
        (Verdict::Unsure, _) => {
            tally.failures = 1;
            failed("unsure")
        }
        (Verdict::NotGiven, _) => {
            tally.skipped = 1;
            format!("      <skipped message=\"{}\"/>\n", escaped(&check.words))
        }
        (Verdict::Match, _) => String::new(),
    };
    cases.push_str(&case(suite, &escaped(name), &said));
    tally
}

fn unusable(text: &mut String, errors: &[ErrorNote]) -> Tally {
    let tally = Tally { tests: errors.len(), errors: errors.len(), ..Tally::default() };
    let case = |error: &ErrorNote| {
        case("reports", &escaped(&error.file), &outcome("error", "error", &error.cause, &error.remedy))
    };
    let cases: String = errors.iter().map(case).collect();
    let _ = write!(text, "  <testsuite name=\"reports\" {}>\n{cases}  </testsuite>\n", tally.attributes(true));
    tally
}

/// One test case; `suite` and `name` are escaped already.
fn case(suite: &str, name: &str, inside: &str) -> String {
    if inside.is_empty() {
        return format!("    <testcase classname=\"{suite}\" name=\"{name}\"/>\n");
    }
    format!("    <testcase classname=\"{suite}\" name=\"{name}\">\n{inside}    </testcase>\n")
}

fn outcome(element: &str, kind: &str, message: &str, text: &str) -> String {
    format!("      <{element} type=\"{kind}\" message=\"{}\">{}</{element}>\n", escaped(message), escaped(text))
}

/// Text for XML 1.0, which has no place for control characters and the two code points that are no characters.
fn escaped(text: &str) -> String {
    let mut safe = String::new();
    for c in printable_text(text).chars() {
        match c {
            '&' => safe += "&amp;",
            '<' => safe += "&lt;",
            '>' => safe += "&gt;",
            '"' => safe += "&quot;",
            '\'' => safe += "&apos;",
            '\u{fffe}' | '\u{ffff}' => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::super::document::tests::full;
    use super::*;

    #[test]
    fn it_is_well_formed_and_its_counts_are_true() {
        let text = render_junit(&full());
        let document = roxmltree::Document::parse(&text).unwrap();
        let count = |name: &str| document.descendants().filter(|node| node.has_tag_name(name)).count();
        let root = document.root_element();
        let said = |name: &str| root.attribute(name).unwrap().parse::<usize>().unwrap();
        assert_eq!(said("tests"), count("testcase"));
        assert_eq!(said("failures"), count("failure"));
        assert_eq!(said("errors"), count("error"));
        assert_eq!(count("testsuite"), 5, "four shots and what could not be read");
        assert!(count("skipped") > 0 && count("system-out") > 0, "{text}");
        let unsure = document.descendants().find(|node| node.attribute("type") == Some("unsure"));
        assert!(unsure.is_some(), "what is unsure does not pass");
    }

    #[test]
    fn no_two_cases_of_a_suite_have_one_name() {
        let mut summary = full();
        let line = summary.shots.iter_mut().find(|line| !line.checks.is_empty()).unwrap();
        let mut twin = line.checks[0].clone();
        line.checks.push(twin.clone());
        twin.concerns = Concerns::Reference;
        line.checks.push(twin);
        let text = render_junit(&summary);
        let document = roxmltree::Document::parse(&text).unwrap();
        for suite in document.descendants().filter(|node| node.has_tag_name("testsuite")) {
            let cases = suite.children().filter(|node| node.has_tag_name("testcase"));
            let names: Vec<&str> = cases.map(|case| case.attribute("name").unwrap()).collect();
            let unique: BTreeSet<&&str> = names.iter().collect();
            assert_eq!(unique.len(), names.len(), "{names:?}");
        }
        assert!(text.contains("set)") && text.contains("CG)"), "{text}");
    }

    #[test]
    fn hostile_text_stays_text() {
        let text = format!("<testcase name=\"{}\"/>", escaped("]]>&<\"'\u{0}\u{1b}\u{ffff}"));
        assert_eq!(roxmltree::Document::parse(&text).unwrap().root_element().tag_name().name(), "testcase");
    }
}
