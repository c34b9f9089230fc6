//! `plateproof manual`: man pages from the same definitions as the command line itself.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use clap::{Command, CommandFactory};
use clap_mangen::Man;

use super::args::{Cli, ManualArgs};
use super::console::Console;
use super::exit::ExitStatus;
use crate::report::write::write_whole;
use crate::{Error, ErrorKind, Result, printable};

/// Every page of ours says so within this many bytes, after what the formatter needs at its start.
const HEAD_BYTES: u64 = 1024;

/// What tells a page of ours: its title line.
const MARK: &str = ".TH plateproof";

pub(super) fn run(args: &ManualArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let pages = pages()?;
    fs::create_dir_all(&args.out).map_err(|error| Error::io(&args.out, &error))?;
    for (name, page) in &pages {
        replace_page(&args.out.join(name), page)?;
    }
    let names: Vec<String> = pages.iter().map(|(name, _)| format!("  {name}\n")).collect();
    console.answer(&format!("{} pages in {}:\n{}", pages.len(), printable(&args.out), names.concat()))?;
    Ok(ExitStatus::AllMatch)
}

/// File name and content of every page: the program's, then one for each command.
fn pages() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    // Help has no page: the pages are the help. Building gives the commands their full names.
    let mut program = Cli::command().disable_help_subcommand(true);
    program.build();
    let commands: Vec<Command> = program.get_subcommands().cloned().collect();
    std::iter::once(program).chain(commands).map(page).collect()
}

fn page(command: Command) -> std::io::Result<(String, Vec<u8>)> {
    let man = Man::new(command.version(env!("CARGO_PKG_VERSION"))).manual("plateproof");
    let (name, mut text) = (man.get_filename(), Vec::new());
    man.render(&mut text)?;
    Ok((name, text))
}

fn replace_page(path: &Path, page: &[u8]) -> Result<()> {
    if path.exists() && !is_our_page(path) {
        let remedy = "choose another --out, or move that file away";
        return Err(Error::new(ErrorKind::Parameter, path, "this file was not written by plateproof", remedy));
    }
    write_whole(path, page)
}

fn is_our_page(path: &Path) -> bool {
    let mut head = Vec::new();
    let mut read = || File::open(path).ok()?.take(HEAD_BYTES).read_to_end(&mut head).ok();
    path.is_file() && read().is_some() && String::from_utf8_lossy(&head).contains(MARK)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_has_its_page_and_carries_the_mark() {
        let pages = pages().unwrap();
        assert_eq!(pages.len(), 1 + Cli::command().get_subcommands().count());
        for (name, text) in &pages {
            let head = String::from_utf8_lossy(&text[..text.len().min(HEAD_BYTES as usize)]).into_owned();
            assert!(name.starts_with("plateproof") && name.ends_with(".1") && head.contains(MARK), "{name}: {head}");
        }
    }

    #[test]
    fn a_foreign_page_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plateproof.1");
        replace_page(&path, b".TH plateproof 1").unwrap();
        replace_page(&path, b".TH plateproof 1 \"again\"").unwrap();
        fs::write(&path, ".TH ferry 1").unwrap();
        assert_eq!(replace_page(&path, b".TH plateproof 1").unwrap_err().kind, ErrorKind::Parameter);
    }
}
