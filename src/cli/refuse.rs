//! Wrong values of options are wrong use: they are refused before anything is written, not told of every shot.

use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use super::args::CheckArgs;
use super::assignment::{Assignment, Positive};
use super::{overrides, wrong_use};
use crate::base::nearest::near;
use crate::colour::ColourSpace;
use crate::image::clf::ClfTransform;
use crate::image::colour_config::name_in_config;
use crate::image::encoding::Encoding;
use crate::printable;
use crate::sheet::{ShotSheet, Tolerances, check_names, load_sheet, near_from, outline_from};

/// No angle is larger.
const LARGEST_ANGLE_DEG: f64 = 180.0;

/// What `--near` is.
pub(super) const NEAR_TAKES: &str = "takes centre x, centre y and a radius of 2 px or more";

/// Refuses what is wrong whatever the sheets say.
pub(super) fn wrong_values(args: &CheckArgs) -> anyhow::Result<()> {
    let refuse = |message: String| wrong_use("check", message);
    told_twice(args)?;
    let mut tolerances = Tolerances::default();
    for tolerance in &args.tolerances {
        overrides::set_tolerance(&mut tolerances, &tolerance.who, tolerance.what, Path::new("--tolerance"))
            .map_err(|error| refuse(format!("--tolerance: {}; {}", error.cause, error.remedy)))?;
        refuse_wide_angle(&tolerances, &tolerance.who, tolerance.what)?;
    }
    for encoding in args.encodings.iter().map(|encoding| encoding.what.as_str()).filter(|name| !is_transform(name)) {
        if Encoding::parse(encoding).is_none() {
            let known = Encoding::ALL.iter().map(|encoding| encoding.name());
            return Err(refuse(unknown("--encoding", encoding, known)));
        }
    }
    for space in args.colour_spaces.iter().map(|space| space.what.as_str()) {
        if ColourSpace::parse(space).is_none() {
            return Err(refuse(unknown("--colour-space", space, ColourSpace::NAMES.iter().copied())));
        }
    }
    for outline in &args.outlines {
        if outline_from(&outline.what.0).is_none() {
            let words = "takes centre x, centre y, radius; or centre x, centre y, a, b, angle";
            return Err(refuse(format!("--outline {}=… {words}", outline.who)));
        }
    }
    required("check", &args.require)?;
    if let Some(near) = args.near.iter().find(|near| near_from(&near.what.0).is_none()) {
        return Err(refuse(format!("--near {}=… {NEAR_TAKES}", near.who)));
    }
    Ok(())
}

/// Refuses a mistyped path; a name for many frames is looked at later.
pub(super) fn missing_files(args: &CheckArgs) -> anyhow::Result<()> {
    let plate = args.plate.iter().map(|file| ("--plate", file.as_path()));
    let mirrors = args.mirrors.iter().map(|mirror| ("--mirror", mirror.file.as_path()));
    let cg = args.cg.iter().map(|cg| ("--cg", cg.file.as_path()));
    let is_missing = |file: &Path| {
        let missing = file.symlink_metadata().is_err_and(|error| error.kind() == ErrorKind::NotFound);
        missing && !file.to_string_lossy().contains(['#', '%'])
    };
    match plate.chain(mirrors).chain(cg).find(|(_, file)| is_missing(file)) {
        Some((option, file)) => Err(wrong_use("check", format!("{option} {}: no such file", printable(file)))),
        None => Ok(()),
    }
}

/// Refuses names that are no checks.
pub(super) fn required(command: &str, names: &[String]) -> anyhow::Result<()> {
    match names.iter().find(|name| !check_names().any(|known| known == *name)) {
        Some(wrong) => Err(wrong_use(command, unknown("--require", wrong, check_names()))),
        None => Ok(()),
    }
}

fn refuse_wide_angle(tolerances: &Tolerances, name: &str, Positive(value): Positive) -> anyhow::Result<()> {
    let angles = [tolerances.direction, tolerances.field_of_view, tolerances.sun, tolerances.environment_rotation];
    if angles.iter().all(|angle| angle.deg <= LARGEST_ANGLE_DEG) {
        return Ok(());
    }
    Err(wrong_use("check", format!("--tolerance {name}={value}: an angle is at most {LARGEST_ANGLE_DEG} deg")))
}

/// A file, or a name in a colour config, in place of an encoding's name.
fn is_transform(name: &str) -> bool {
    ClfTransform::is_name(name) || name_in_config(name).is_some()
}

fn unknown(option: &str, name: &str, known: impl Iterator<Item = &'static str>) -> String {
    let known: Vec<&str> = known.collect();
    let guess = near(name, known.iter().copied()).map(|guess| format!("; did you mean '{guess}'?")).unwrap_or_default();
    let list = known.join(", ");
    format!("{option}: there is nothing named '{name}'{guess}\nKnown: {list}")
}

/// The roles that are told something, by option.
fn roles(args: &CheckArgs) -> Vec<(&'static str, &str)> {
    fn of<'a, T>(option: &'static str, told: &'a [Assignment<T>]) -> impl Iterator<Item = (&'static str, &'a str)> {
        told.iter().map(move |told| (option, told.who.as_str()))
    }
    of("--encoding", &args.encodings)
        .chain(of("--colour-space", &args.colour_spaces))
        .chain(of("--layer", &args.layers))
        .chain(of("--clip-level", &args.clip_levels))
        .chain(of("--frame-number", &args.frame_numbers))
        .chain(of("--timecode", &args.timecodes))
        .chain(of("--outline", &args.outlines))
        .chain(of("--near", &args.near))
        .collect()
}

/// Refuses two values for one thing, of which one would be lost silently.
fn told_twice(args: &CheckArgs) -> anyhow::Result<()> {
    let tolerances = args.tolerances.iter().map(|told| ("--tolerance", told.who.as_str()));
    let mut seen = BTreeSet::new();
    match roles(args).into_iter().chain(tolerances).find(|told| !seen.insert(*told)) {
        Some((option, who)) => Err(wrong_use("check", format!("{option} {who}=… is given twice; keep one"))),
        None => Ok(()),
    }
}

/// Refuses a role that no sheet has; what only some have is told of the others.
pub(super) fn unknown_roles(args: &CheckArgs, origins: &[PathBuf]) -> anyhow::Result<()> {
    let mut roles = roles(args);
    roles.retain(|(_, who)| !["plate", "mirror", "cg"].contains(who));
    if roles.is_empty() {
        return Ok(());
    }
    let sheets = sheets(args, origins);
    let mirrors: Vec<&str> = sheets.iter().flat_map(|sheet| &sheet.mirrors).map(|m| m.name.as_str()).collect();
    let Some((option, who)) = roles.into_iter().find(|(_, who)| !mirrors.contains(who)) else { return Ok(()) };
    if sheets.is_empty() {
        return Ok(());
    }
    let known = ["plate", "mirror", "cg"].into_iter().chain(mirrors.iter().copied());
    let guess = near(who, known).map(|guess| format!("; did you mean '{guess}'?")).unwrap_or_default();
    let message = format!("{option} {who}=…: it is plate, mirror, cg or the name of a mirror{guess}");
    Err(wrong_use("check", message))
}

fn sheets(args: &CheckArgs, origins: &[PathBuf]) -> Vec<ShotSheet> {
    if args.sheets.is_empty() {
        return origins.iter().filter_map(|origin| overrides::sheet_of_options(args, origin).ok()).collect();
    }
    origins.iter().filter_map(|origin| load_sheet(origin).ok()).collect()
}
