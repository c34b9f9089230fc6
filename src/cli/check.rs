//! `plateproof check`.

use std::path::{Path, PathBuf};

use super::args::CheckArgs;
use super::console::Console;
use super::exit::ExitStatus;
use super::shots::{ShotRun, Wanted};
use super::{gather, overrides, wrong_use};
use crate::Result;
use crate::sheet::{ShotSheet, load_sheet};

/// What errors name where there is no sheet.
const COMMAND_LINE: &str = "command line";

pub(super) fn run(args: &CheckArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let jobs = jobs(args)?;
    let wanted = Wanted {
        out: args.out.clone(),
        format: args.format,
        picture: !args.no_picture,
        predict: args.predict,
        version: args.version_name.clone(),
    };
    let mut run = ShotRun::new(wanted, jobs.len(), console);
    for job in jobs {
        match job {
            Ok(job) => run.shot(job.origin(), || job.sheet(args))?,
            Err(error) => run.no_shot(&error),
        }
    }
    Ok(run.finish()?)
}

/// One shot to be checked.
enum Job {
    Sheet(PathBuf),
    Options,
}

impl Job {
    fn origin(&self) -> &Path {
        match self {
            Self::Sheet(path) => path,
            Self::Options => Path::new(COMMAND_LINE),
        }
    }

    fn sheet(&self, args: &CheckArgs) -> Result<ShotSheet> {
        let sheet = match self {
            Self::Sheet(path) => overrides::replace_files(load_sheet(path)?, args)?,
            Self::Options => overrides::sheet_of_options(args, Path::new(COMMAND_LINE))?,
        };
        overrides::apply(sheet, args, self.origin())
    }
}

fn jobs(args: &CheckArgs) -> anyhow::Result<Vec<Result<Job>>> {
    if args.sheets.is_empty() {
        return options_only(args);
    }
    let found = gather::gather(&args.sheets);
    if found.len() > 1
        && let Some(option) = option_of_one_shot(args)
    {
        return Err(wrong_use(format!("{option} is about one shot, and {} sheets are given", found.len())));
    }
    Ok(found.into_iter().map(|path| path.map(Job::Sheet)).collect())
}

fn options_only(args: &CheckArgs) -> anyhow::Result<Vec<Result<Job>>> {
    match (args.mirrors.is_empty(), args.cg.is_empty()) {
        (false, false) => Ok(vec![Ok(Job::Options)]),
        (true, true) => Err(wrong_use("give a shot sheet, a folder of them, or --plate, --mirror and --cg")),
        (true, false) => Err(wrong_use("--cg needs a shot sheet, or --mirror beside it")),
        (false, true) => Err(wrong_use("--mirror needs a shot sheet, or --cg beside it")),
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
    ];
    given.into_iter().find(|(_, given)| *given).map(|(option, _)| option)
}
