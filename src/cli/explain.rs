//! `plateproof explain`.

use textwrap::{Options, WordSplitter, fill};

use super::console::Console;
use super::exit::ExitStatus;
use crate::base::nearest::near;
use crate::check;
use crate::check::docs::{CheckDoc, TOPICS, Topic, named};
use crate::colour::ColourSpace;
use crate::image::encoding::Encoding;
use crate::sheet::Tolerances;

/// Columns of the page.
const COLUMNS: usize = 80;

pub(super) fn run(words: &[String], console: &mut Console) -> anyhow::Result<ExitStatus> {
    let name = words.join(" ");
    let text = if words.is_empty() { list() } else { explanation(&name).ok_or_else(|| nothing_named(&name))? };
    console.answer(&text)?;
    Ok(ExitStatus::AllMatch)
}

fn names() -> impl Iterator<Item = &'static str> {
    check::docs().map(CheckDoc::name).chain(TOPICS.iter().map(|topic| topic.name)).chain(LISTS.map(|list| list.name))
}

fn nothing_named(name: &str) -> anyhow::Error {
    let guess = near(name, names()).map(|guess| format!("; did you mean '{guess}'?")).unwrap_or_default();
    let list = names().collect::<Vec<_>>().join(", ");
    super::wrong_use("explain", format!("there is nothing named '{name}' to explain{guess}\nKnown: {list}"))
}

fn list() -> String {
    let line = |name: &str, title: &str| format!("  {name:<20}  {title}\n");
    let checks: Vec<String> = check::docs().map(|doc| line(doc.name(), doc.title)).collect();
    let topics: Vec<String> = TOPICS.iter().chain(&LISTS).map(|topic| line(topic.name, topic.title)).collect();
    format!(
        "Checks:\n{}\nOther subjects:\n{}\nRead more with plateproof explain NAME.\n",
        checks.concat(),
        topics.concat()
    )
}

/// The explanation under a name of ours, a tolerance's name, or the trade's word for it; case and separators do not matter.
fn explanation(asked: &str) -> Option<String> {
    let name = named(asked)?;
    let check = check::docs().find(|doc| doc.name() == name).map(check_text);
    let topic = || TOPICS.iter().find(|topic| topic.name == name).map(topic_text);
    let list = || match name {
        _ if name == ENCODINGS.name => Some(encodings_text()),
        _ if name == TOLERANCES.name => Some(tolerances_text()),
        _ => None,
    };
    check.or_else(topic).or_else(list)
}

/// The subjects whose lists are made from the program itself.
const LISTS: [Topic; 2] = [ENCODINGS, TOLERANCES];

/// Its list is made from the defaults themselves.
const TOLERANCES: Topic = Topic {
    name: "tolerances",
    title: "the tolerance of every check, and how to change it",
    text: "Change a tolerance in the sheet (\"tolerances\": { \"exposure\": { \"stops\": 0.2 } }) or on the command line \
           (--tolerance exposure=0.2). The defaults are common practice; they have no published source.\n\
           On the command line, colour=... sets the stops and colour-mired=... the mired; clean-plate=... sets the pixels. \
           direction, key-fill and colour also answer to the full names of their checks. A tolerance of more than ten \
           times its default is accepted only with a current waiver for its check.",
};

fn tolerances_text() -> String {
    let defaults = serde_json::to_value(Tolerances::default()).unwrap_or_default();
    let line = |(name, values): (&String, &serde_json::Value)| {
        let values = values.as_object().into_iter().flatten();
        let values: Vec<String> = values.map(|(unit, value)| format!("{value} {}", unit.replace('_', " "))).collect();
        format!("  {name:<20}  {}\n", values.join(", "))
    };
    let lines: String = defaults.as_object().into_iter().flatten().map(line).collect();
    format!("{}\nDefaults\n{lines}", topic_text(&TOLERANCES))
}

/// Its list is made from the encodings themselves.
const ENCODINGS: Topic = Topic {
    name: "encodings",
    title: "how code values relate to light, and the colour spaces",
    text: "The encoding says how a picture's code values relate to light. It is taken from the file; if the file does not \
           say, or is wrong, give it in the sheet (\"encoding\" and \"colour_space\" on the picture) or by an option \
           (--encoding mirror=s-log3, --colour-space cg=acescg). A wrong encoding makes every stop wrong.\n\
           Capitals, hyphens, spaces and dots make no difference: S-Log3 and slog3 are the same. Instead of a name you can \
           give a Common LUT Format file (show.clf) that turns code values into scene-linear light, or ocio:NAME, a colour \
           space, alias or role of the OpenColorIO config given by --ocio FILE or the environment variable OCIO (ocio: alone: by \
           the config's file rules).",
};

fn encodings_text() -> String {
    let encoding = |encoding: &Encoding| {
        let head = format!("  {:<18}  ", encoding.name());
        let indent = " ".repeat(head.len());
        wrapped(encoding.note(), &head, &indent)
    };
    let list: String = Encoding::ALL.iter().map(encoding).collect();
    let spaces = ColourSpace::NAMES.join(", ");
    let spaces = wrapped(&spaces, "  ", "  ");
    format!("{}\nEncodings\n{list}\nColour spaces\n{spaces}", topic_text(&ENCODINGS))
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
    format!("{}: {}\n{unit}\n{}", doc.name(), doc.title, sections.concat())
}

fn topic_text(topic: &Topic) -> String {
    format!("{}: {}\n\n{}", topic.name, topic.title, paragraphs(topic.text))
}

/// Indented paragraphs; a line break in the source text starts a new one.
fn paragraphs(text: &str) -> String {
    text.lines().map(|line| wrapped(line, "  ", "  ")).collect()
}

/// Names and options are copied from here, so no line ends within one.
fn wrapped(text: &str, first: &str, further: &str) -> String {
    let options = Options::new(COLUMNS)
        .initial_indent(first)
        .subsequent_indent(further)
        .word_splitter(WordSplitter::NoHyphenation)
        .break_words(false);
    fill(text, &options) + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_ends_within_a_name_or_an_option() {
        for name in names() {
            let text = explanation(name).unwrap();
            let words: Vec<&str> = text.split_whitespace().collect();
            assert!(!words.iter().any(|word| word.len() > 1 && word.ends_with('-')), "{text}");
        }
    }

    #[test]
    fn every_encoding_is_listed() {
        let text = explanation("Encodings").unwrap();
        for encoding in Encoding::ALL {
            assert!(text.contains(encoding.name()), "{encoding}");
        }
        assert!(text.contains("acescg") && text.contains("p3-d65"), "{text}");
    }

    #[test]
    fn every_tolerance_is_listed_with_its_default() {
        let text = explanation("tolerance").unwrap();
        for line in ["direction", "key-fill", "reference-drift"] {
            assert!(text.lines().any(|found| found.trim_start().starts_with(line)), "{line}: {text}");
        }
        assert!(text.contains("0.1 stops, 20.0 mired") || text.contains("20.0 mired, 0.1 stops"), "{text}");
    }

    #[test]
    fn a_far_off_word_gets_no_guess() {
        assert!(!nothing_named("zebra").to_string().contains("did you mean"));
        assert!(nothing_named("exposur").to_string().contains("did you mean 'exposure'"));
    }

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
