//! The command line: what was typed becomes requests to the library. The only module that names clap.

mod args;
mod assignment;
mod byte_size;
mod check;
mod completions;
mod console;
mod demo;
mod earlier_report;
mod examples;
mod exit;
mod explain;
mod gather;
mod interrupt;
mod manual;
mod new_shot;
mod overrides;
mod progress;
mod reflectance;
mod refuse;
mod set_light;
mod shots;
mod sphere;
mod sphere_document;
mod sphere_text;
mod summary;

use std::ffi::OsString;
use std::path::Path;
use std::process::ExitCode;

use clap::Parser;

use crate::new_shot::is_picture_name;
use crate::printable;
use args::{Cli, Command, SchemaArgs, SchemaOf};
use console::Console;
use exit::ExitStatus;

/// Runs the command line and gives the exit status: 0 all match, 1 some mismatch, 2 wrong use or an input that could
/// not be used, 3 something unsure, 4 interrupted.
pub fn run(words: impl IntoIterator<Item = OsString>) -> ExitCode {
    let words: Vec<OsString> = words.into_iter().collect();
    let parsed = Cli::try_parse_from(&words).map_err(|error| {
        let is_no_command = error.kind() == clap::error::ErrorKind::InvalidSubcommand;
        is_no_command.then(|| meant_check(&words)).flatten().unwrap_or_else(|| error.into())
    });
    let outcome = parsed.and_then(|cli| dispatch(cli.command));
    outcome.unwrap_or_else(|error| tell(&error)).into()
}

/// A file or folder in place of the command: it was meant for one of them.
fn meant_check(words: &[OsString]) -> Option<anyhow::Error> {
    let typed = words.get(1).map(Path::new).filter(|typed| typed.exists())?;
    let shown = printable(typed);
    let command = if is_picture_name(typed) { "new-shot" } else { "check" };
    let message = format!("'{shown}' is not a command; did you mean `plateproof {command} {shown}`?");
    Some(wrong_use(command, message))
}

fn dispatch(command: Command) -> anyhow::Result<ExitStatus> {
    let mut console = Console::of_process();
    match command {
        Command::Check(args) => check::run(&args, &mut console),
        Command::Sphere(args) => sphere::run(&args, &mut console),
        Command::Reflectance(args) => reflectance::run(&args, &mut console),
        Command::SetLight(args) => set_light::run(&args, &mut console),
        Command::NewShot(args) => new_shot::run(&args, &mut console),
        Command::Summary(args) => summary::run(&args, &mut console),
        Command::Explain(args) => explain::run(&args.topic, &mut console),
        Command::Demo(args) => demo::run(&args, &mut console),
        Command::Schema(args) => print_schema(&args, &mut console),
        Command::Completions(args) => completions::run(&args, &mut console),
        Command::Manual(args) => manual::run(&args, &mut console),
    }
}

fn print_schema(args: &SchemaArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let schema = match args.of {
        SchemaOf::Report => crate::report::report_schema(),
        SchemaOf::Sheet => crate::sheet::sheet_schema(),
        SchemaOf::Summary => crate::summary::summary_schema(),
        SchemaOf::Sphere => sphere_document::sphere_schema(),
        SchemaOf::SetLight => crate::set_light::set_light_schema(),
    };
    console.answer(&format!("{schema:#}\n"))?;
    Ok(ExitStatus::AllMatch)
}

/// Says why nothing could be done. Asking for help or the version is no failure.
fn tell(error: &anyhow::Error) -> ExitStatus {
    let Some(usage) = error.downcast_ref::<clap::Error>() else {
        Console::remark(&format!("plateproof: {error:#}"));
        return ExitStatus::Unusable;
    };
    // Where even this cannot be printed, the exit status still tells.
    drop(usage.print());
    if usage.use_stderr() { ExitStatus::Unusable } else { ExitStatus::AllMatch }
}

/// An error in the use of a command, worded as clap words its own, with that command's usage.
fn wrong_use(command: &str, message: impl std::fmt::Display) -> anyhow::Error {
    use clap::CommandFactory;
    let mut all = Cli::command();
    all.build();
    let kind = clap::error::ErrorKind::ArgumentConflict;
    match all.find_subcommand_mut(command) {
        Some(command) => command.error(kind, message).into(),
        None => all.error(kind, message).into(),
    }
}
