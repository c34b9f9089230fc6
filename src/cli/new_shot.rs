//! `plateproof new-shot`.

use std::path::{Path, PathBuf};

use textwrap::{Options, fill};

use super::args::NewShotArgs;
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use crate::new_shot::{Draft, Guess, collect, draft_shot};
use crate::report::write::write_whole;
use crate::sheet::peek_sheet;
use crate::{Error, ErrorKind, Result, printable, printable_text};

/// Columns of the page.
const COLUMNS: usize = 80;

pub(super) fn run(args: &NewShotArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let out = args.out.clone().unwrap_or_else(|| beside(&args.files));
    refuse_to_overwrite(&out, args.overwrite)?;
    let files = collect(&args.files)?;
    let draft = {
        let progress = Progress::start(console.watched);
        let mut say = |file: &Path| progress.say(&format!("looking at {}", printable(file)));
        draft_shot(&files, &out, args.shot.as_deref(), &args.limits.into(), &mut say)?
    };
    for error in &draft.unreadable {
        Console::remark(&format!("plateproof: {error}"));
    }
    write_whole(&out, format!("{:#}\n", draft.sheet).as_bytes())?;
    console.answer(&told(&draft, &out))?;
    Ok(status(&draft))
}

/// `shot.json` in the only folder given, else here.
fn beside(given: &[PathBuf]) -> PathBuf {
    match given {
        [folder] if folder.is_dir() => folder.join("shot.json"),
        _ => PathBuf::from("shot.json"),
    }
}

/// A sheet that is there holds somebody's notes; anything else there is not ours to replace at all.
fn refuse_to_overwrite(out: &Path, allowed: bool) -> Result<()> {
    if !out.exists() || (allowed && peek_sheet(out).is_some_and(|peek| peek.says_so)) {
        return Ok(());
    }
    let (cause, remedy) = if allowed {
        ("already exists and is not a shot sheet", "name another file with --out")
    } else {
        ("is there already", "name another file with --out, or add --overwrite to replace it and lose what it says")
    };
    Err(Error::new(ErrorKind::Parameter, out, cause, remedy))
}

fn status(draft: &Draft) -> ExitStatus {
    if !draft.unreadable.is_empty() {
        ExitStatus::Unusable
    } else if draft.incomplete.is_some() {
        ExitStatus::Unsure
    } else {
        ExitStatus::AllMatch
    }
}

fn told(draft: &Draft, out: &Path) -> String {
    let guesses: String = draft.guesses.iter().map(guess_words).collect();
    let ask = draft.to_ask.iter().enumerate();
    let ask: String = ask.map(|(i, line)| paragraph(&format!("{:>3}. ", i + 1), &printable_text(line))).collect();
    let file = printable(out);
    let next = match &draft.incomplete {
        None => format!("Correct anything that is wrong, then run: plateproof check {file}"),
        Some(error) => format!("It is not ready for `plateproof check` yet: {}; {}.", error.cause, error.remedy),
    };
    let written = format!("The sheet is in {file}, with these lists in its notes. {next}");
    let written = fill(&written, COLUMNS);
    format!("IDENTIFIED AS\n{guesses}\nTO ASK THE CREW FOR, MOST VALUABLE FIRST\n{ask}\n{written}\n")
}

fn guess_words(guess: &Guess) -> String {
    let used = if guess.used { "" } else { ", not used" };
    let head = format!("{}: {}{used}", printable_text(&guess.file), guess.role.words());
    paragraph("  ", &head) + &paragraph("      ", &printable_text(&guess.why))
}

/// Filled text whose further lines stand under its first.
fn paragraph(before: &str, text: &str) -> String {
    let indent = " ".repeat(before.len());
    fill(text, Options::new(COLUMNS).initial_indent(before).subsequent_indent(&indent)) + "\n"
}
