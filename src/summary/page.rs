//! The page on which a summary is written: plain text of a given width.

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter};

use crate::findings::ShotVerdict;

/// Columns of the page where nobody says how wide the terminal is.
pub const PAGE_COLUMNS: usize = 80;

/// A narrower page is broken by the terminal, and rows of a wider one are hard to follow.
const FEWEST_COLUMNS: usize = 60;
const MOST_COLUMNS: usize = 200;

/// A page that is being written.
pub(super) struct Page {
    pub(super) text: String,
    pub(super) columns: usize,
    colour: bool,
}

impl Page {
    pub(super) fn new(columns: usize, colour: bool) -> Self {
        Self { text: String::new(), columns: columns.clamp(FEWEST_COLUMNS, MOST_COLUMNS), colour }
    }

    pub(super) fn heading(&mut self, text: &str) {
        let text = if self.colour { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() };
        self.line("");
        self.line(&text);
    }

    pub(super) fn paragraph(&mut self, first: &str, text: &str) {
        self.wrapped(first, "    ", text);
    }

    /// Text behind `first`; its further lines stand under it.
    pub(super) fn hanging(&mut self, first: &str, text: &str) {
        self.wrapped(first, &" ".repeat(display_width(first)), text);
    }

    fn wrapped(&mut self, first: &str, indent: &str, text: &str) {
        let options = Options::new(self.columns)
            .initial_indent(first)
            .subsequent_indent(indent)
            .word_splitter(WordSplitter::NoHyphenation);
        for line in textwrap::wrap(text, options) {
            self.line(&line);
        }
    }

    pub(super) fn line(&mut self, text: &str) {
        self.text.push_str(text.trim_end());
        self.text.push('\n');
    }

    /// Colours that keep apart for the colour-blind; the word itself always says the verdict.
    pub(super) fn painted(&self, text: &str, verdict: ShotVerdict) -> String {
        let code = match verdict {
            ShotVerdict::Match => "36",
            ShotVerdict::Unsure => "1;33",
            ShotVerdict::Mismatch | ShotVerdict::Error => "1;31",
        };
        if self.colour { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}
