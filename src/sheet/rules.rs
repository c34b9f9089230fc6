//! Rules that tie several keys of a sheet together, and the keys that no sheet can do without.

use std::collections::BTreeSet;

use super::structure::{Misfit, missing_key};
use super::{
    CameraSpec, CheckId, ImageSpec, MirrorSpec, NAMED_TOLERANCES, PlaceSpec, SENSOR_FORMATS, SensorFormat, ShotSheet,
    Tolerances, WaiverSpec, length_mm,
};
use crate::CaptureTime;
use crate::base::date::IsoDate;
use crate::base::nearest::nearest;
use crate::sheet::mirror::{near_from, outline_from};

type Rule = Result<(), Misfit>;

/// What a sheet is read for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ReadFor {
    /// To compare the CG with what was photographed.
    Comparison,
    /// For what was photographed on set: there may be no CG yet.
    Set,
}

/// `shot`, one mirror with a frame and, for a comparison, one CG sphere with a frame.
pub(super) fn needed_keys(sheet: &ShotSheet, read_for: ReadFor) -> Rule {
    if sheet.shot.is_empty() {
        return Err(missing_key("shot"));
    }
    if sheet.mirrors.is_empty() {
        return Err(missing_key("mirrors"));
    }
    if read_for == ReadFor::Comparison && sheet.cg.spheres.is_empty() {
        return Err(missing_key("cg.spheres"));
    }
    for (i, mirror) in sheet.mirrors.iter().enumerate() {
        one_of_frame_and_bracket(&format!("mirrors[{i}]"), &mirror.whole, &mirror.bracket)?;
    }
    for (i, matte) in sheet.grey_spheres.iter().enumerate() {
        one_of_frame_and_bracket(&format!("grey_spheres[{i}]"), &matte.whole, &matte.bracket)?;
    }
    sheet.environment.as_ref().map_or(Ok(()), |e| one_of_frame_and_bracket("environment", &e.image, &e.bracket))
}

fn one_of_frame_and_bracket(path: &str, whole: &ImageSpec, bracket: &[ImageSpec]) -> Rule {
    match (whole.frame.is_empty(), bracket.is_empty()) {
        (true, true) => Err(missing_key(&format!("{path}.frame"))),
        (false, false) => {
            let cause = format!("`{path}` has both `frame` and `bracket`");
            Err(misfit(cause, "keep one; a bracket holds all exposures"))
        }
        _ => Ok(()),
    }
}

/// Everything else.
pub(super) fn check(sheet: &ShotSheet) -> Rule {
    name_for_files("shot", &sheet.shot)?;
    sheet.cg.version.as_deref().map_or(Ok(()), |version| name_for_files("cg.version", version))?;
    unique_mirrors(&sheet.mirrors)?;
    spheres_have_mirrors(sheet)?;
    for (path, image) in sheet.images() {
        image_rules(&path, image)?;
    }
    for (path, place) in places(sheet) {
        place_rule(&path, place)?;
    }
    for (path, camera) in [("camera", &sheet.camera), ("cg.camera", &sheet.cg.camera)] {
        camera.as_ref().map_or(Ok(()), |camera| sensor_format_rule(path, camera))?;
    }
    sheet.location.as_ref().map_or(Ok(()), time_rule)?;
    each_exposure_once(sheet)?;
    required_checks(sheet)?;
    wide_tolerances(sheet, IsoDate::today_utc())?;
    ignored_regions(&sheet.mirrors)?;
    sheet.waivers.iter().enumerate().try_for_each(|(i, waiver)| waiver_rules(i, waiver))
}

/// Shot and version name the report's files; characters that file names cannot hold are replaced there.
fn name_for_files(key: &str, name: &str) -> Rule {
    if name.trim().is_empty() || name.contains(char::is_control) {
        let cause = format!("`{key}` is \"{}\", which is not a valid name", crate::printable_text(name));
        return Err(misfit(cause, "use letters, digits, `_`, `-` and `.`"));
    }
    Ok(())
}

fn unique_mirrors(mirrors: &[MirrorSpec]) -> Rule {
    let mut seen = BTreeSet::new();
    match mirrors.iter().find(|mirror| !seen.insert(mirror.name.as_str())) {
        Some(twice) => Err(misfit(format!("two mirrors are named \"{}\"", twice.name), "give each its own name")),
        None => Ok(()),
    }
}

fn spheres_have_mirrors(sheet: &ShotSheet) -> Rule {
    let mut seen = BTreeSet::new();
    for (i, sphere) in sheet.cg.spheres.iter().enumerate() {
        let Some(name) = sphere.mirror.as_deref() else {
            let cause = format!("`cg.spheres[{i}]` has no mirror in the same place of the list");
            return Err(misfit(cause, "add its `mirror`, or remove the sphere"));
        };
        if sheet.mirror(name).is_none() {
            return Err(unknown_mirror(i, name, sheet));
        }
        if !seen.insert(name) {
            let cause = format!("two CG spheres stand for mirror \"{name}\"");
            return Err(misfit(cause, "keep one, or name another `mirror`"));
        }
    }
    Ok(())
}

fn unknown_mirror(place: usize, name: &str, sheet: &ShotSheet) -> Misfit {
    let known = || sheet.mirrors.iter().map(|mirror| mirror.name.as_str());
    let cause = format!("`cg.spheres[{place}].mirror` is \"{name}\", and no mirror has this name");
    let guess = nearest(name, known()).map_or(String::new(), |near| format!("did you mean \"{near}\"? "));
    misfit(cause, format!("{guess}Mirrors of this sheet: {}", known().collect::<Vec<_>>().join(", ")))
}

fn image_rules(path: &str, image: &ImageSpec) -> Rule {
    if let Some([first, last]) = image.frame_range
        && first > last
    {
        let cause = format!("`{path}.frame_range` ends before it starts");
        return Err(misfit(cause, "give the first frame, then the last"));
    }
    movie_rules(path, image)?;
    image.file_name().map(drop).map_err(|error| misfit(format!("`{path}.frame`: {}", error.cause), error.remedy))
}

/// A movie is of set, and its frame is named in one way. That one is named at all is asked where it is opened, which can say what there is.
fn movie_rules(path: &str, image: &ImageSpec) -> Rule {
    if !image.is_movie() {
        return Ok(());
    }
    let is_of_set =
        ["plate", "mirrors", "grey_spheres", "clean_plate", "straight_lines"].iter().any(|key| path.starts_with(key));
    if !is_of_set {
        let cause = format!("`{path}.frame` is a movie, which nothing is rendered to without loss");
        return Err(misfit(cause, "give the frame as float OpenEXR"));
    }
    if image.timecode.is_some() && (image.frame_number.is_some() || image.frame_range.is_some()) {
        let cause = format!("`{path}` names its frame by `timecode` and by number");
        return Err(misfit(cause, "keep one of the two"));
    }
    if image.frame_number == Some(0) || image.frame_range.is_some_and(|range| range[0] == 0) {
        return Err(misfit(format!("`{path}`: there is no frame 0 in a movie"), "count its frames from 1"));
    }
    Ok(())
}

/// A file that stands twice in a bracket adds nothing and counts twice.
fn each_exposure_once(sheet: &ShotSheet) -> Rule {
    let mirrors = sheet.mirrors.iter().enumerate().map(|(i, m)| (format!("mirrors[{i}]"), &m.bracket));
    let greys = sheet.grey_spheres.iter().enumerate().map(|(i, m)| (format!("grey_spheres[{i}]"), &m.bracket));
    let environment = sheet.environment.iter().map(|e| ("environment".to_owned(), &e.bracket));
    for (path, bracket) in mirrors.chain(greys).chain(environment) {
        let mut seen = BTreeSet::new();
        for image in bracket {
            let Ok(name) = image.file_name() else { continue };
            // Frames of a moving shot are told apart by their numbers, which stand in the name by now.
            let file = sheet.base_dir.join(&name);
            let of_movie = image.is_movie().then_some((image.frame_number, image.frame_range, &image.timecode));
            if !seen.insert((file.canonicalize().unwrap_or(file), of_movie)) {
                let cause = format!("`{path}.bracket` names {} twice", crate::printable_text(&name));
                return Err(misfit(cause, "keep it once; a bracket holds every exposure once"));
            }
        }
    }
    Ok(())
}

fn required_checks(sheet: &ShotSheet) -> Rule {
    let Some(unknown) = sheet.require.iter().find(|name| !is_check(name)) else { return Ok(()) };
    let cause = format!("`require`: there is no check named \"{}\"", crate::printable_text(unknown));
    let guess = nearest(unknown, check_names()).unwrap_or_default();
    Err(misfit(cause, format!("did you mean \"{guess}\"?")))
}

/// Names of all checks.
pub(crate) fn check_names() -> impl Iterator<Item = &'static str> {
    CheckId::ALL.iter().map(CheckId::known_name)
}

fn is_check(name: &str) -> bool {
    check_names().any(|known| known == name)
}

/// A tolerance this many times its default is as good as none: somebody has to answer for it, as for a waiver.
const WIDE: f64 = 10.0;

fn wide_tolerances(sheet: &ShotSheet, today: IsoDate) -> Rule {
    let (mut tolerances, mut defaults) = (sheet.tolerances, Tolerances::default());
    for named in &NAMED_TOLERANCES {
        let (key, check) = (named.in_sheet, &named.check);
        let (given, usual) = (*named.of(&mut tolerances), *named.of(&mut defaults));
        let answered = || sheet.waivers.iter().any(|waiver| waiver.covers(check, today));
        if given > WIDE * usual && !answered() {
            // As JSON has it: three hundred digits would be no number to a reader.
            let given = serde_json::Value::from(given);
            let cause = format!("`tolerances.{key}` is {given}, more than {WIDE} times the default of {usual}");
            let remedy = format!(
                "give a smaller one, or add a waiver for {check} with `by`, `why` and a date in `until` that has not passed"
            );
            return Err(misfit(cause, remedy));
        }
    }
    Ok(())
}

/// What is told of where a sphere stands: `outline_px` and `near_px`.
type Place<'a> = [Option<&'a [f64]>; 2];

fn places(sheet: &ShotSheet) -> impl Iterator<Item = (String, Place<'_>)> {
    let mirrors = sheet.mirrors.iter().enumerate();
    let mirrors = mirrors.map(|(i, m)| (format!("mirrors[{i}]"), [m.outline_px.as_deref(), m.near_px.as_deref()]));
    let greys = sheet.grey_spheres.iter().enumerate();
    let greys = greys.map(|(i, m)| (format!("grey_spheres[{i}]"), [m.outline_px.as_deref(), m.near_px.as_deref()]));
    let cg = sheet.cg.spheres.iter().enumerate();
    let cg = cg.map(|(i, s)| (format!("cg.spheres[{i}]"), [s.outline_px.as_deref(), s.near_px.as_deref()]));
    mirrors.chain(greys).chain(cg)
}

fn place_rule(path: &str, [outline, near]: Place<'_>) -> Rule {
    if outline.is_some() && near.is_some() {
        let cause = format!("`{path}` has both `outline_px` and `near_px`");
        return Err(misfit(cause, "keep `outline_px` if it is exact, or `near_px` if the picture should refine it"));
    }
    if outline.is_some_and(|numbers| outline_from(numbers).is_none()) {
        let cause = format!("`{path}.outline_px` is neither a circle nor an ellipse");
        let remedy = "give centre x, centre y, radius; or centre x, centre y, a, b, angle, with a and b above 0";
        return Err(misfit(cause, remedy));
    }
    if near.is_some_and(|numbers| near_from(numbers).is_none()) {
        let cause = format!("`{path}.near_px` is not a circle");
        return Err(misfit(cause, "give centre x, centre y and a radius of 2 px or more"));
    }
    Ok(())
}

/// Hundreds of outlines with hundreds of corners each; drawing them takes a second.
const MOST_CORNERS_IN_ALL: usize = 300_000;

fn ignored_regions(mirrors: &[MirrorSpec]) -> Rule {
    for (i, mirror) in mirrors.iter().enumerate() {
        let corners: usize = mirror.ignore.iter().filter_map(|r| r.polygon_px.as_ref()).map(Vec::len).sum();
        if corners > MOST_CORNERS_IN_ALL {
            let cause = format!("the polygons of `mirrors[{i}].ignore` have {corners} corners in all");
            return Err(misfit(cause, format!("{MOST_CORNERS_IN_ALL} are allowed; draw them more coarsely")));
        }
        for (j, region) in mirror.ignore.iter().enumerate() {
            region.rule(&format!("mirrors[{i}].ignore[{j}]"))?;
        }
    }
    Ok(())
}

fn sensor_format_rule(path: &str, camera: &CameraSpec) -> Rule {
    let Some(name) = camera.sensor_format.as_deref() else { return Ok(()) };
    if SensorFormat::named(name).is_some() {
        return Ok(());
    }
    let known = || SENSOR_FORMATS.iter().map(|format| format.name);
    let cause = format!("`{path}.sensor_format` is \"{}\", which is not a known format", crate::printable_text(name));
    let guess = nearest(name, known()).unwrap_or_default();
    let list = known().collect::<Vec<_>>().join(", ");
    Err(misfit(cause, format!("did you mean \"{guess}\"? Known: {list}; give any other size as `sensor_mm`")))
}

fn time_rule(place: &PlaceSpec) -> Rule {
    match place.time.as_deref() {
        Some(text) if CaptureTime::parse(text).is_none() => {
            let cause = format!("`location.time`: \"{}\" is not a date and time", crate::printable_text(text));
            Err(misfit(cause, "write it as 2026-06-21T17:20:00+02:00, with the time zone"))
        }
        _ => Ok(()),
    }
}

/// Writes lengths given as text into their keys in millimetres.
pub(super) fn settle_lengths(sheet: &mut ShotSheet) -> Rule {
    for (i, mirror) in sheet.mirrors.iter_mut().enumerate() {
        settle_length(&format!("mirrors[{i}].diameter"), &mut mirror.diameter, &mut mirror.diameter_mm)?;
    }
    for (path, camera) in [("camera.distance", &mut sheet.camera), ("cg.camera.distance", &mut sheet.cg.camera)] {
        if let Some(camera) = camera {
            settle_length(path, &mut camera.distance, &mut camera.distance_mm)?;
        }
    }
    Ok(())
}

fn settle_length(path: &str, text: &mut Option<String>, mm: &mut Option<f64>) -> Rule {
    let Some(written) = text.take() else { return Ok(()) };
    if mm.is_some() {
        return Err(misfit(format!("`{path}` and `{path}_mm` are both given"), "give one of the two"));
    }
    *mm = length_mm(&written);
    let cause = || format!("`{path}`: \"{}\" is not a length", crate::printable_text(&written));
    let remedy = "write it with its unit, such as \"3.2 m\", \"250 mm\" or \"10 ft 6 in\"";
    if mm.is_some() { Ok(()) } else { Err(misfit(cause(), remedy)) }
}

fn waiver_rules(place: usize, waiver: &WaiverSpec) -> Rule {
    if !is_check(&waiver.check) {
        let cause = format!("`waivers[{place}].check`: there is no check named \"{}\"", waiver.check);
        let guess = nearest(&waiver.check, check_names()).unwrap_or_default();
        return Err(misfit(cause, format!("did you mean \"{guess}\"?")));
    }
    if IsoDate::parse(&waiver.until).is_none() {
        let cause = format!("`waivers[{place}].until`: \"{}\" is not a date", crate::printable_text(&waiver.until));
        return Err(misfit(cause, "write the last day on which it holds as YYYY-MM-DD"));
    }
    Ok(())
}

fn misfit(cause: impl Into<String>, remedy: impl Into<String>) -> Misfit {
    Misfit { cause: cause.into(), remedy: remedy.into() }
}
