//! `plateproof set-light`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::args::{Format, SetLightArgs};
use super::console::Console;
use super::exit::ExitStatus;
use super::gather;
use super::progress::Progress;
use crate::findings::ToolNote;
use crate::report::json::to_json_of;
use crate::report::report_stem;
use crate::set_light::{SET_LIGHT_FORMAT, SetLightDocument, SetLightRecord, render_text, set_light, write_set_light};
use crate::sheet::{load_sheet_of_set, peek_sheet};
use crate::{Error, ErrorKind, Result, printable};

pub(super) fn run(args: &SetLightArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let mut status = ExitStatus::AllMatch;
    let mut taken = BTreeSet::new();
    for origin in gather::gather(&args.sheets) {
        let done = match origin {
            Ok(origin) => {
                let progress = Progress::start(console.watched);
                progress.say(&format!("measuring the light of {}", printable(&origin)));
                one(&origin, args, &mut taken).unwrap_or_else(|error| failed(&error, name_in(&origin)))
            }
            Err(error) => failed(&error, String::new()),
        };
        status = status.max(told(&done, args.format, console)?);
    }
    Ok(status)
}

/// What is said of a shot's light, and the files written.
type Done = (SetLightDocument, Vec<PathBuf>);

/// The shot's name by a sheet that could not be used, as far as it says one.
fn name_in(origin: &Path) -> String {
    peek_sheet(origin).and_then(|peek| peek.shot).unwrap_or_default()
}

fn one(origin: &Path, args: &SetLightArgs, taken: &mut BTreeSet<String>) -> Result<Done> {
    let mut sheet = load_sheet_of_set(origin)?;
    sheet.limit_pictures(args.limits.into());
    sheet.use_colour_config(args.config.config().as_ref());
    if !taken.insert(report_stem(&sheet.shot, None)) {
        let remedy = "give the shots different names, or write to two folders";
        return Err(Error::new(ErrorKind::Parameter, origin, "an earlier sheet names the same shot", remedy));
    }
    let outcome = set_light(&sheet)?;
    // Nothing to look at is written where nothing could be measured.
    let written = if outcome.lights.is_empty() { Vec::new() } else { write_set_light(&args.out, &outcome)? };
    Ok((outcome.document, written))
}

fn told((document, written): &Done, format: Format, console: &mut Console) -> anyhow::Result<ExitStatus> {
    if let Some(error) = &document.error {
        Console::remark(&format!("plateproof: {}", error.lines()));
    }
    match format {
        Format::Json => console.answer(&on_one_line(document)?)?,
        Format::Text if document.mirrors.is_empty() => {}
        Format::Text => console.answer(&(render_text(document) + &written_words(written)))?,
    }
    Ok(if document.error.is_some() {
        ExitStatus::Unusable
    } else if document.mirrors.iter().any(SetLightRecord::is_unsure) {
        ExitStatus::Unsure
    } else {
        ExitStatus::AllMatch
    })
}

/// What is said of a shot of which nothing could be measured.
fn failed(error: &Error, shot: String) -> Done {
    let document = SetLightDocument {
        format: SET_LIGHT_FORMAT.to_owned(),
        tool: ToolNote::current(),
        shot,
        frame_of_reference: String::new(),
        mirrors: Vec::new(),
        inputs: Vec::new(),
        assumptions: Vec::new(),
        warnings: Vec::new(),
        error: Some(error.into()),
    };
    (document, Vec::new())
}

/// As the file, on a line of its own.
fn on_one_line(document: &SetLightDocument) -> serde_json::Result<String> {
    let value: serde_json::Value = serde_json::from_str(&to_json_of(document))?;
    Ok(format!("{value}\n"))
}

fn written_words(paths: &[PathBuf]) -> String {
    let names: Vec<String> = paths.iter().map(|path| format!("  {}\n", printable(path))).collect();
    format!("\nWritten:\n{}\n", names.concat())
}
