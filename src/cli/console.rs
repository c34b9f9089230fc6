//! What goes to the terminal: answers on standard output, remarks on standard error.

use std::io::{self, ErrorKind, IsTerminal, Write};

use terminal_size::{Width, terminal_size_of};

/// Standard output and standard error of one run.
///
/// When the reader of standard output goes away (`plateproof … | head`), the rest of the output is dropped in
/// silence and the work goes on: the reports are still written.
#[derive(Debug)]
pub(super) struct Console {
    closed: bool,
    /// Colour may be used on standard output.
    pub(super) colour: bool,
    /// Columns of the terminal that standard output is, if it is one.
    pub(super) columns: Option<usize>,
    /// A person watches standard error.
    pub(super) watched: bool,
}

impl Console {
    /// The streams of this process. Colour needs a terminal, no `NO_COLOR` and a `TERM` other than `dumb`.
    pub(super) fn of_process() -> Self {
        let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        Self {
            closed: false,
            colour: io::stdout().is_terminal() && !set("NO_COLOR") && !dumb,
            columns: terminal_size_of(io::stdout()).map(|(Width(columns), _)| usize::from(columns)),
            watched: io::stderr().is_terminal() && !dumb,
        }
    }

    /// Prints an answer; `text` brings its own line ends.
    pub(super) fn answer(&mut self, text: &str) -> io::Result<()> {
        if self.closed {
            return Ok(());
        }
        let mut stdout = io::stdout().lock();
        match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
            Err(error) if error.kind() == ErrorKind::BrokenPipe => {
                self.closed = true;
                Ok(())
            }
            other => other,
        }
    }

    /// Prints one remark for the person who runs this. There is nobody left to tell where that fails.
    pub(super) fn remark(text: &str) {
        drop(writeln!(io::stderr().lock(), "{text}"));
    }
}
