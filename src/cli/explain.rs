//! `plateproof explain`.

use textwrap::{Options, fill};

use super::console::Console;
use super::exit::ExitStatus;
use crate::check;
use crate::check::docs::{CheckDoc, TOPICS, Topic};
use crate::sheet::nearest;

/// Columns of the page.
const COLUMNS: usize = 80;

pub(super) fn run(name: Option<&str>, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let text = match name {
        None => list(),
        Some(name) => explanation(name).ok_or_else(|| nothing_named(name))?,
    };
    console.answer(&text)?;
    Ok(ExitStatus::AllMatch)
}

fn names() -> impl Iterator<Item = &'static str> {
    check::docs().map(|doc| doc.name).chain(TOPICS.iter().map(|topic| topic.name))
}

fn nothing_named(name: &str) -> anyhow::Error {
    let guess = nearest(name, names()).unwrap_or_default();
    let list = names().collect::<Vec<_>>().join(", ");
    super::wrong_use(format!("there is nothing named '{name}' to explain; did you mean '{guess}'?\nKnown: {list}"))
}

fn list() -> String {
    let line = |name: &str, title: &str| format!("  {name:<20}  {title}\n");
    let checks: Vec<String> = check::docs().map(|doc| line(doc.name, doc.title)).collect();
    let topics: Vec<String> = TOPICS.iter().map(|topic| line(topic.name, topic.title)).collect();
    format!("Checks:\n{}\nBesides:\n{}\nplateproof explain NAME tells more.\n", checks.concat(), topics.concat())
}

fn explanation(name: &str) -> Option<String> {
    let check = check::docs().find(|doc| doc.name == name).map(check_text);
    check.or_else(|| TOPICS.iter().find(|topic| topic.name == name).map(topic_text))
}

fn check_text(doc: &CheckDoc) -> String {
    let unit = format!("Unit: {}", doc.unit);
    let sections = [
        ("What it does", doc.what),
        ("Why it matters", doc.why),
        ("How it is measured", doc.how),
        ("Tolerance", doc.tolerance),
        ("What it cannot see", doc.cannot_see),
    ];
    let sections = sections.map(|(heading, text)| format!("\n{heading}\n{}", paragraphs(text)));
    format!("{}: {}\n{unit}\n{}", doc.name, doc.title, sections.concat())
}

fn topic_text(topic: &Topic) -> String {
    format!("{}: {}\n\n{}", topic.name, topic.title, paragraphs(topic.text))
}

/// Indented paragraphs; a line break in the source text starts a new one.
fn paragraphs(text: &str) -> String {
    let options = Options::new(COLUMNS).initial_indent("  ").subsequent_indent("  ");
    text.lines().map(|line| fill(line, &options) + "\n").collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_listed_can_be_explained_within_eighty_columns() {
        for name in names() {
            let text = explanation(name).unwrap();
            assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
            assert!(list().contains(name));
        }
        assert!(list().lines().all(|line| line.chars().count() <= COLUMNS), "{}", list());
    }
}
