//! `plateproof completions`.

use clap::CommandFactory;

use super::args::{Cli, CompletionsArgs};
use super::console::Console;
use super::exit::ExitStatus;

pub(super) fn run(args: &CompletionsArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "plateproof", &mut script);
    console.answer(&String::from_utf8_lossy(&script))?;
    Ok(ExitStatus::AllMatch)
}
