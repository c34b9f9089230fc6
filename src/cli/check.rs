//! `plateproof check`.

use std::cell::LazyCell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::args::{CheckArgs, Format};
use super::console::Console;
use super::earlier_report::refuse_other_shot;
use super::exit::ExitStatus;
use super::shots::{Task, Wanted, beside, planned, planned_as, resolved, run_shots};
use super::{gather, overrides, refuse, wrong_use};
use crate::base::staging::can_write_in;
use crate::report::report_stem;
use crate::sheet::{SheetPeek, ShotSheet, load_sheet, peek_sheet};
use crate::show::{Options, RunName, default_budget_bytes, file_bytes, parts_by_size};
use crate::{Error, ErrorKind, Result, printable};

/// What errors name where there is no sheet.
const COMMAND_LINE: &str = "command line";

pub(super) fn run(args: &CheckArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    refuse::wrong_values(args)?;
    let mut status = ExitStatus::AllMatch;
    let mut origins = Vec::new();
    for found in origins_of(args)? {
        match found {
            Ok(origin) => origins.push(origin),
            // Something that is not even a shot could not be used.
            Err(error) => {
                status = ExitStatus::Unusable;
                Console::remark(&format!("plateproof: {error}"));
            }
        }
    }
    if origins.is_empty() {
        return Ok(status);
    }
    refuse::missing_files(args)?;
    refuse::unknown_roles(args, &origins)?;
    if args.sheets.is_empty() {
        refuse_other_shot(&args.out, &sheet_of(Path::new(COMMAND_LINE), args)?)?;
    }
    writable(&args.out)?;
    let tasks = plan(args, origins);
    let run = run_name(args, &tasks);
    if let Some(part) = args.part.filter(|_| tasks.is_empty()) {
        let words = format!("plateproof: no shot falls to part {} of {}", part.number, part.of);
        match args.format {
            Format::Text => console.answer(&(words + "\n"))?,
            Format::Json => Console::remark(&words),
        }
    }
    let load = |task: &Task| sheet_of(&task.origin, args);
    Ok(status.max(run_shots(&tasks, &wanted(args, run), &load, console)?))
}

/// Shots take minutes; that their reports can go nowhere should not be found out after them.
fn writable(out: &Path) -> Result<()> {
    let not_a_folder = out.exists() && !out.is_dir();
    if not_a_folder {
        let remedy = "name a folder for the reports with --out";
        return Err(Error::new(ErrorKind::Parameter, out, "is a file, not a folder", remedy));
    }
    let made = std::fs::create_dir_all(out).map_err(|error| Error::io(out, &error));
    made.and_then(|()| can_write_in(out)).map_err(|error| {
        let cause = format!("reports cannot be written here: {}", error.cause);
        Error::new(error.kind, out, cause, "name a folder that you may write to with --out")
    })
}

fn wanted(args: &CheckArgs, run: RunName) -> Wanted {
    Wanted {
        run,
        out: args.out.clone(),
        format: args.format,
        options: Options {
            picture: !args.no_picture,
            from_inside: args.from_inside,
            predict: args.beside.predict,
            fixes: args.beside.write_fixes,
            every: args.every,
        },
        again: args.again,
        trust_times: args.trust_times,
        as_list: args.part.is_some(),
        jobs: args.jobs.map_or_else(rayon::current_num_threads, |jobs| jobs as usize),
        memory: args.memory.map_or_else(default_budget_bytes, |size| size.0),
    }
}

fn sheet_of(origin: &Path, args: &CheckArgs) -> Result<ShotSheet> {
    let sheet = if args.sheets.is_empty() {
        overrides::sheet_of_options(args, origin)?
    } else {
        overrides::replace_files(load_sheet(origin)?, args)?
    };
    overrides::apply(sheet, args, origin)
}

/// One task a shot, in order; of two that would write the same report the second is refused. With `--part` those of
/// the other parts are left out, after all were looked at: every part has to see the same show.
fn plan(args: &CheckArgs, origins: Vec<PathBuf>) -> Vec<Task> {
    let mut taken: BTreeMap<String, PathBuf> = BTreeMap::new();
    let out = resolved(&args.out);
    let (tasks, sizes): (Vec<Task>, Vec<u64>) =
        origins.into_iter().map(|origin| plan_one(args, origin, &out, &mut taken)).unzip();
    let Some(part) = args.part else { return tasks };
    let parts = parts_by_size(&sizes, part.of);
    let ours = tasks.into_iter().zip(parts).filter(|(_, its_part)| its_part + 1 == part.number);
    ours.map(|(task, _)| task).collect()
}

/// The task of one sheet and, where the show has parts, the bytes of its files.
fn plan_one(args: &CheckArgs, origin: PathBuf, out: &Path, taken: &mut BTreeMap<String, PathBuf>) -> (Task, u64) {
    let sheet = LazyCell::new(|| sheet_of(&origin, args));
    let mut planned = match named_at_a_glance(&origin, args) {
        Some((shot, version)) => planned_as(&origin, out, shot, version),
        None => planned(&origin, out, &sheet, args.version_name.as_deref()),
    };
    if args.sheets.is_empty() {
        // Every such shot is a sheet of its own.
        planned.sheet = format!("{COMMAND_LINE}: {}", planned.report);
    }
    let stem = report_stem(&planned.shot, planned.version.as_deref());
    let refused = taken.get(&stem).map(|first| clash(&origin, &stem, first, sheet.as_ref().err()));
    let sized = args.part.is_some() && refused.is_none();
    let size = if sized { sheet.as_ref().map_or(0, |sheet| file_bytes(sheet, args.every)) } else { 0 };
    drop(sheet);
    taken.entry(stem).or_insert_with(|| origin.clone());
    (Task { origin, refused, planned }, size)
}

/// Shot and version of a sheet that says them itself, without holding the rest of it against the rules: that is done when its
/// turn comes. A sheet that breaks a rule has the same name.
fn named_at_a_glance(origin: &Path, args: &CheckArgs) -> Option<(String, Option<String>)> {
    if args.sheets.is_empty() || args.shot.is_some() {
        return None;
    }
    let peek = peek_sheet(origin).filter(SheetPeek::names_all)?;
    let shot = peek.shot.filter(|shot| !shot.trim().is_empty())?;
    Some((shot, args.version_name.clone().or(peek.version)))
}

/// What tells this run from others into the same folder.
fn run_name(args: &CheckArgs, tasks: &[Task]) -> RunName {
    let given = if args.sheets.is_empty() {
        // Shots without sheets are told apart by what they are called.
        tasks.iter().map(|task| task.planned.report.clone()).collect()
    } else {
        let out = resolved(&args.out);
        args.sheets.iter().map(|path| beside(path, &out)).collect()
    };
    RunName { given, part: args.part }
}

/// Two shots of one name; what is wrong with the sheet besides is said too.
fn clash(origin: &Path, stem: &str, first: &Path, own: Option<&Error>) -> Error {
    let mut cause = format!("its report {stem} would replace that of {}", printable(first));
    let mut remedy = "give them different `shot` or `version` names, or check them into two folders".to_owned();
    if let Some(own) = own {
        cause = format!("{}; and {cause}", own.cause);
        remedy = format!("{}; {remedy}", own.remedy);
    }
    Error::new(ErrorKind::Parameter, origin, cause, remedy)
}

fn origins_of(args: &CheckArgs) -> anyhow::Result<Vec<Result<PathBuf>>> {
    if args.sheets.is_empty() {
        return options_only(args);
    }
    let found = gather::gather(&args.sheets);
    if found.len() > 1
        && let Some(option) = option_of_one_shot(args)
    {
        return Err(wrong_use("check", format!("{option} applies to one shot, but {} sheets are given", found.len())));
    }
    Ok(found)
}

fn options_only(args: &CheckArgs) -> anyhow::Result<Vec<Result<PathBuf>>> {
    match (args.mirrors.is_empty(), args.cg.is_empty()) {
        (false, false) => Ok(vec![Ok(PathBuf::from(COMMAND_LINE))]),
        (true, true) => Err(wrong_use("check", "give a shot sheet, a folder of them, or --plate, --mirror and --cg")),
        (true, false) => Err(wrong_use("check", "--cg needs a shot sheet, or --mirror as well")),
        (false, true) => Err(wrong_use("check", "--mirror needs a shot sheet, or --cg as well")),
    }
}

/// The first given option that makes sense for one shot only.
fn option_of_one_shot(args: &CheckArgs) -> Option<&'static str> {
    let given = [
        ("--plate", args.plate.is_some()),
        ("--mirror", !args.mirrors.is_empty()),
        ("--cg", !args.cg.is_empty()),
        ("--shot", args.shot.is_some()),
        ("--outline", !args.outlines.is_empty()),
        ("--near", !args.near.is_empty()),
    ];
    given.into_iter().find(|(_, given)| *given).map(|(option, _)| option)
}
