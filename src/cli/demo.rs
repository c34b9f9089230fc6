//! `plateproof demo`.

use super::args::{DemoArgs, Format};
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use super::shots::{Task, Wanted, beside, planned, resolved, run_shots};
use crate::demo::write_show;
use crate::sheet::load_sheet;
use crate::show::{Options, RunName, default_budget_bytes};
use crate::{Error, printable};

pub(super) fn run(args: &DemoArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let progress = Progress::start(console.watched);
    let sheets = write_show(&args.out, &mut |what| progress.say(what))?;
    drop(progress);
    console.answer(&format!(
        "The demo show is in {}. Checking it as `plateproof check` does:\n\n",
        printable(&args.out)
    ))?;
    let out = args.out.join("reports");
    std::fs::create_dir_all(&out).map_err(|error| Error::io(&out, &error))?;
    let wanted = Wanted {
        run: RunName { given: vec![beside(&args.out, &resolved(&out))], part: None },
        out,
        format: Format::Text,
        options: Options { picture: !args.no_picture, ..Options::default() },
        // The demo shows checking, not that it was checked before.
        again: true,
        trust_times: false,
        as_list: true,
        jobs: rayon::current_num_threads(),
        memory: default_budget_bytes(),
    };
    let real_out = resolved(&wanted.out);
    let tasks: Vec<Task> = sheets
        .into_iter()
        .map(|origin| {
            let planned = planned(&origin, &real_out, &load_sheet(&origin), None);
            Task { origin, refused: None, planned }
        })
        .collect();
    let worst = run_shots(&tasks, &wanted, &|task| load_sheet(&task.origin), console)?;
    // Its mismatches are there on purpose; only a shot that could not be done, or was not reached, is a failure.
    Ok(if worst >= ExitStatus::Unusable { worst } else { ExitStatus::AllMatch })
}
