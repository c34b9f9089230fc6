//! `plateproof demo`.

use super::args::{DemoArgs, Format};
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use super::shots::{ShotRun, Wanted};
use crate::demo::write_show;
use crate::printable;
use crate::sheet::load_sheet;

pub(super) fn run(args: &DemoArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let progress = Progress::start(console.watched);
    let sheets = write_show(&args.out, &mut |what| progress.say(what))?;
    drop(progress);
    console.answer(&format!(
        "The demo show is in {}. Checking it as `plateproof check` does:\n\n",
        printable(&args.out)
    ))?;
    let wanted = Wanted {
        out: args.out.join("reports"),
        format: Format::Text,
        picture: !args.no_picture,
        predict: false,
        version: None,
    };
    let mut run = ShotRun::new(wanted, sheets.len(), console);
    for sheet in &sheets {
        run.shot(sheet, || load_sheet(sheet))?;
    }
    // Its mismatches are there on purpose; only a shot that could not be done is a failure.
    let worst = run.finish()?;
    Ok(if worst == ExitStatus::Unusable { worst } else { ExitStatus::AllMatch })
}
