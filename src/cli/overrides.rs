//! What options change in a sheet, and a sheet made of options alone.

use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use super::args::{CheckArgs, LensArgs};
use super::assignment::{NamedFile, Positive};
use crate::base::nearest::{near, nearest};
use crate::image::clf::ClfTransform;
use crate::image::limits::Limits;
use crate::new_shot::{beside_role, shot_name as shot_in, version};
use crate::sheet::{CameraSpec, CgSphereSpec, ImageSpec, MirrorSpec, SHEET_FORMAT, ShotSheet, Tolerances};
use crate::sheet::{NAMED_TOLERANCES, sheet_from_json};
use crate::{Error, ErrorKind, Result};

/// A sheet that holds what the options say and nothing else; its paths are relative to the working folder.
pub(super) fn sheet_of_options(args: &CheckArgs, origin: &Path) -> Result<ShotSheet> {
    let mut sheet = json!({
        "format": SHEET_FORMAT,
        "shot": args.shot.clone().unwrap_or_else(|| shot_name(args)),
        "mirrors": mirror_entries(&args.mirrors)?,
        "cg": { "spheres": args.cg.iter().map(sphere_entry).collect::<Result<Vec<_>>>()? },
    });
    if let Some((version, _)) = args.cg.iter().find_map(|cg| version(&name_of(&cg.file))) {
        sheet["cg"]["version"] = Value::String(version);
    }
    if let Some(plate) = &args.plate {
        sheet["plate"] = Value::String(text_of(plate)?);
    }
    sheet_from_json(sheet, origin, Path::new(""))
}

/// A shot's name in the name of a file or else of its folder; failing that, what the plate's or the CG's name says before
/// its first dot beside its role; failing that, the folder's whole name.
fn shot_name(args: &CheckArgs) -> String {
    let files: Vec<&Path> =
        args.cg.iter().map(|cg| cg.file.as_path()).chain(args.plate.iter().map(PathBuf::as_path)).collect();
    let folders: Vec<String> = files.iter().filter_map(|file| folder_of(file)).collect();
    let start = |file: &&Path| beside_role(name_of(file).split('.').find(|part| !part.is_empty())?);
    let told = files.iter().map(|file| name_of(file)).chain(folders.iter().cloned());
    let own = || files.iter().rev().find_map(start);
    let mut told = told.filter_map(|name| shot_in(&name));
    told.next().or_else(own).or_else(|| folders.first().cloned()).unwrap_or_else(|| "shot".to_owned())
}

fn name_of(file: &Path) -> String {
    file.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The name of the folder that a file lies in.
fn folder_of(file: &Path) -> Option<String> {
    let absolute = std::path::absolute(file).ok()?;
    Some(absolute.parent()?.file_name()?.to_string_lossy().into_owned())
}

/// Every unnamed file is a mirror; files of one name are one mirror's bracket.
fn mirror_entries(files: &[NamedFile]) -> Result<Vec<Value>> {
    let mut entries: Vec<(Option<&str>, Vec<Value>)> = Vec::new();
    for file in files {
        let name = file.name.as_deref();
        let frame = Value::String(text_of(&file.file)?);
        match entries.iter_mut().find(|(known, _)| name.is_some() && *known == name) {
            Some((_, bracket)) => bracket.push(frame),
            None => entries.push((name, vec![frame])),
        }
    }
    Ok(entries.into_iter().map(|(name, bracket)| entry("name", name, "bracket", Value::Array(bracket))).collect())
}

fn sphere_entry(file: &NamedFile) -> Result<Value> {
    Ok(entry("mirror", file.name.as_deref(), "frame", Value::String(text_of(&file.file)?)))
}

fn entry(name_key: &str, name: Option<&str>, key: &str, value: Value) -> Value {
    let name = name.map(|name| (name_key.to_owned(), Value::String(name.to_owned())));
    Value::Object(name.into_iter().chain([(key.to_owned(), value)]).collect::<Map<_, _>>())
}

fn text_of(path: &Path) -> Result<String> {
    path.to_str().map(str::to_owned).ok_or_else(|| {
        Error::new(ErrorKind::Parameter, path, "the file's name is not Unicode", "rename the file or link to it")
    })
}

/// Puts the files that options name in place of the sheet's. What the sheet says about them otherwise stays.
pub(super) fn replace_files(mut sheet: ShotSheet, args: &CheckArgs) -> Result<ShotSheet> {
    if let Some(plate) = &args.plate {
        sheet.plate.get_or_insert_default().replace_file(absolute(plate)?);
    }
    let mut brackets: Vec<(usize, Vec<ImageSpec>)> = Vec::new();
    for file in &args.mirrors {
        let place = place_of_mirror(&sheet, file)?;
        let exposure = another_exposure(&sheet.mirrors[place], absolute(&file.file)?);
        match brackets.iter_mut().find(|(known, _)| *known == place) {
            Some((_, bracket)) => bracket.push(exposure),
            None => brackets.push((place, vec![exposure])),
        }
    }
    for (place, bracket) in brackets {
        sheet.mirrors[place].bracket = bracket;
    }
    for file in &args.cg {
        let place = place_of_mirror(&sheet, file)?;
        let mirror = sheet.mirrors[place].name.clone();
        let frame = absolute(&file.file)?;
        cg_sphere_of(&mut sheet, &mirror).image.replace_file(frame);
    }
    Ok(sheet)
}

fn absolute(path: &Path) -> Result<String> {
    let absolute: PathBuf = std::path::absolute(path).map_err(|error| Error::io(path, &error))?;
    text_of(&absolute)
}

/// The mirror that a file is for: the named one, or the only one.
fn place_of_mirror(sheet: &ShotSheet, file: &NamedFile) -> Result<usize> {
    match &file.name {
        Some(name) => {
            sheet.mirrors.iter().position(|mirror| mirror.name == *name).ok_or_else(|| no_mirror(sheet, name))
        }
        None if sheet.mirrors.len() == 1 => Ok(0),
        None => {
            let remedy = format!("write NAME=FILE with one of: {}", mirror_names(sheet));
            Err(Error::new(ErrorKind::Parameter, &file.file, "the sheet has several mirrors", remedy))
        }
    }
}

fn mirror_names(sheet: &ShotSheet) -> String {
    sheet.mirrors.iter().map(|mirror| mirror.name.as_str()).collect::<Vec<_>>().join(", ")
}

fn no_mirror(sheet: &ShotSheet, name: &str) -> Error {
    let names = sheet.mirrors.iter().map(|mirror| mirror.name.as_str());
    let guess = nearest(name, names.chain(["plate", "mirror", "cg"])).unwrap_or_default();
    let remedy = format!("did you mean `{guess}`? Mirrors of this shot: {}", mirror_names(sheet));
    Error::new(ErrorKind::Parameter, Path::new(&sheet.shot), format!("there is no mirror named `{name}`"), remedy)
}

/// A further exposure of a mirror, about which all that is known is what holds for the first one, except its exposure.
fn another_exposure(mirror: &MirrorSpec, frame: String) -> ImageSpec {
    let mut exposure = mirror.bracket.first().cloned().unwrap_or_default();
    exposure.exposure_stops = None;
    exposure.replace_file(frame);
    exposure
}

fn cg_sphere_of<'a>(sheet: &'a mut ShotSheet, mirror: &str) -> &'a mut CgSphereSpec {
    let spheres = &mut sheet.cg.spheres;
    let place = spheres.iter().position(|sphere| sphere.mirror.as_deref() == Some(mirror)).unwrap_or_else(|| {
        spheres.push(CgSphereSpec { mirror: Some(mirror.to_owned()), ..CgSphereSpec::default() });
        spheres.len() - 1
    });
    &mut spheres[place]
}

impl ImageSpec {
    fn replace_file(&mut self, frame: String) {
        self.frame = frame;
        (self.frame_number, self.frame_range, self.timecode) = (None, None, None);
    }
}

/// Everything that options say about a shot besides its files.
pub(super) fn apply(mut sheet: ShotSheet, args: &CheckArgs, origin: &Path) -> Result<ShotSheet> {
    // No option changes notes, and there may be hundreds of thousands of them.
    let notes = sheet.notes.take();
    let loaded = sheet.clone();
    if let Some(shot) = &args.shot {
        sheet.shot.clone_from(shot);
    }
    if args.version_name.is_some() {
        sheet.cg.version.clone_from(&args.version_name);
    }
    describe_images(&mut sheet, args)?;
    place_spheres(&mut sheet, args)?;
    for tolerance in &args.tolerances {
        set_tolerance(&mut sheet.tolerances, &tolerance.who, tolerance.what, origin)?;
    }
    sheet.camera = camera(sheet.camera.take(), &args.lens, origin)?;
    if let Some(own) = sheet.cg.camera.take() {
        sheet.cg.camera = camera(Some(own), &args.lens, origin)?;
    }
    let more = args.require.iter().filter(|check| !sheet.require.contains(check)).cloned().collect::<Vec<_>>();
    sheet.require.extend(more);
    let is_changed = sheet != loaded;
    sheet.notes = notes;
    let other_files = args.plate.is_some() || !args.mirrors.is_empty() || !args.cg.is_empty();
    if other_files || is_changed {
        sheet = sheet.checked_again(origin)?;
    }
    let mut limits = Limits::from(args.limits);
    if let (Some(memory), None) = (args.memory, args.limits.max_decoded) {
        limits.max_bytes = Limits::default().max_bytes.min(memory.0);
    }
    sheet.limit_pictures(limits);
    sheet.use_colour_config(args.config.config().as_ref());
    Ok(sheet)
}

/// A transform's file that is typed is relative to where one stands, not to the sheet.
fn encoding_here(typed: &str) -> Result<String> {
    if ClfTransform::is_name(typed) { absolute(Path::new(typed)) } else { Ok(typed.to_owned()) }
}

fn describe_images(sheet: &mut ShotSheet, args: &CheckArgs) -> Result<()> {
    for encoding in &args.encodings {
        for image in images_of(sheet, &encoding.who)? {
            image.encoding = Some(encoding_here(&encoding.what)?);
            image.encoding_by_option = true;
        }
    }
    for space in &args.colour_spaces {
        for image in images_of(sheet, &space.who)? {
            image.colour_space = Some(space.what.clone());
            image.colour_space_by_option = true;
        }
    }
    for layer in &args.layers {
        images_of(sheet, &layer.who)?.into_iter().for_each(|image| image.layer = Some(layer.what.clone()));
    }
    for frame in &args.frame_numbers {
        for image in images_of(sheet, &frame.who)? {
            (image.frame_number, image.timecode) = (Some(frame.what), None);
        }
    }
    for label in &args.timecodes {
        for image in images_of(sheet, &label.who)? {
            (image.frame_number, image.frame_range, image.timecode) = (None, None, Some(label.what.clone()));
        }
    }
    for level in &args.clip_levels {
        images_of(sheet, &level.who)?.into_iter().for_each(|image| image.clip_level = Some(level.what.0));
    }
    Ok(())
}

/// The pictures of `plate`, `mirror` (all), `cg` (all), or the mirror of that name.
fn images_of<'a>(sheet: &'a mut ShotSheet, who: &str) -> Result<Vec<&'a mut ImageSpec>> {
    match who {
        "plate" => Ok(sheet.plate.iter_mut().collect()),
        "mirror" => Ok(sheet.mirrors.iter_mut().flat_map(|mirror| &mut mirror.bracket).collect()),
        "cg" => Ok(sheet.cg.spheres.iter_mut().map(|sphere| &mut sphere.image).collect()),
        name => match sheet.mirrors.iter().position(|mirror| mirror.name == name) {
            Some(place) => Ok(sheet.mirrors[place].bracket.iter_mut().collect()),
            None => Err(no_mirror(sheet, name)),
        },
    }
}

/// What options say of where spheres stand counts in place of what the sheet says; where they say two things of one
/// sphere, the sheet's rules refuse it.
fn place_spheres(sheet: &mut ShotSheet, args: &CheckArgs) -> Result<()> {
    for told in args.outlines.iter().chain(&args.near) {
        let place = place_of(sheet, &told.who)?;
        (*place.outline_px, *place.near_px) = (None, None);
    }
    for outline in &args.outlines {
        *place_of(sheet, &outline.who)?.outline_px = Some(outline.what.0.clone());
    }
    for near in &args.near {
        *place_of(sheet, &near.who)?.near_px = Some(near.what.0.clone());
    }
    Ok(())
}

/// The keys of a sphere's entry that say where it stands.
struct PlaceKeys<'a> {
    outline_px: &'a mut Option<Vec<f64>>,
    near_px: &'a mut Option<Vec<f64>>,
}

impl<'a> PlaceKeys<'a> {
    fn of_mirror(mirror: &'a mut MirrorSpec) -> Self {
        Self { outline_px: &mut mirror.outline_px, near_px: &mut mirror.near_px }
    }

    fn of_cg(sphere: &'a mut CgSphereSpec) -> Self {
        Self { outline_px: &mut sphere.outline_px, near_px: &mut sphere.near_px }
    }
}

fn place_of<'a>(sheet: &'a mut ShotSheet, who: &str) -> Result<PlaceKeys<'a>> {
    let several = |key: &str, sheet: &ShotSheet| {
        let cause = format!("--outline or --near {key}=… does not say which of several spheres");
        Error::new(
            ErrorKind::Parameter,
            Path::new(&sheet.shot),
            cause,
            "give outline_px or near_px in the sheet, or name a mirror",
        )
    };
    match who {
        "mirror" if sheet.mirrors.len() == 1 => Ok(PlaceKeys::of_mirror(&mut sheet.mirrors[0])),
        "cg" if sheet.cg.spheres.len() == 1 => Ok(PlaceKeys::of_cg(&mut sheet.cg.spheres[0])),
        "mirror" | "cg" => Err(several(who, sheet)),
        name => match sheet.mirrors.iter().position(|mirror| mirror.name == name) {
            Some(place) => Ok(PlaceKeys::of_mirror(&mut sheet.mirrors[place])),
            None => Err(no_mirror(sheet, name)),
        },
    }
}

pub(super) fn set_tolerance(
    tolerances: &mut Tolerances,
    name: &str,
    Positive(value): Positive,
    origin: &Path,
) -> Result<()> {
    let settable = || NAMED_TOLERANCES.iter().filter(|named| !named.option.is_empty());
    let Some(named) = settable().find(|named| named.option == name || named.check == name) else {
        let names: Vec<&str> = settable().map(|named| named.option).collect();
        let guess = near(name, names.iter().copied()).map(|guess| format!("did you mean `{guess}`? "));
        let cause = format!("there is no tolerance named `{name}`");
        let remedy = format!(
            "{}The tolerances are {}; full names of checks serve too",
            guess.unwrap_or_default(),
            names.join(", ")
        );
        return Err(Error::new(ErrorKind::Parameter, origin, cause, remedy));
    };
    *named.of(tolerances) = value;
    Ok(())
}

/// The camera with what the options say of it; the sensor of an option is what was recorded, whole.
pub(super) fn camera(given: Option<CameraSpec>, lens: &LensArgs, origin: &Path) -> Result<Option<CameraSpec>> {
    let Some(Positive(focal_length_mm)) = lens.focal_length_mm else { return Ok(with_fov(given, lens.fov_deg)) };
    let mut camera = given.unwrap_or_default();
    camera.focal_length_mm = Some(focal_length_mm);
    camera.by_option = true;
    if let Some(sensor) = lens.sensor_mm {
        camera.sensor_mm = Some(sensor.0);
        (camera.sensor_px, camera.used_px, camera.recorded_px) = (None, None, None);
    }
    if camera.sensor_size_mm().is_none() {
        let remedy = "add --sensor-mm WIDTHxHEIGHT, or use --fov-deg instead of both";
        return Err(Error::new(ErrorKind::Parameter, origin, "--focal-length-mm without a sensor size", remedy));
    }
    Ok(Some(camera))
}

fn with_fov(given: Option<CameraSpec>, fov_deg: Option<f64>) -> Option<CameraSpec> {
    match fov_deg {
        Some(_) => Some(CameraSpec { fov_by_option_deg: fov_deg, ..given.unwrap_or_default() }),
        None => given,
    }
}

#[cfg(test)]
mod tests {
    use super::super::assignment;
    use super::*;

    fn file(text: &str) -> NamedFile {
        text.parse().unwrap()
    }

    fn args() -> CheckArgs {
        CheckArgs {
            plate: Some("p/SF_0420.plate.exr".into()),
            mirrors: vec![file("left=a.exr"), file("right=b.exr"), file("left=c.exr")],
            cg: vec![file("left=cg1.exr"), file("right=cg2.exr")],
            ..CheckArgs::default()
        }
    }

    fn sheet(args: &CheckArgs) -> ShotSheet {
        sheet_of_options(args, Path::new("command line")).unwrap()
    }

    fn frames(bracket: &[ImageSpec]) -> Vec<&str> {
        bracket.iter().map(|exposure| exposure.frame.as_str()).collect()
    }

    #[test]
    fn options_alone_make_a_sheet() {
        let sheet = sheet(&args());
        assert_eq!(sheet.shot, "SF_0420");
        assert_eq!(frames(&sheet.mirror("left").unwrap().bracket), ["a.exr", "c.exr"]);
        assert_eq!(sheet.cg_sphere("right").unwrap().image.frame, "cg2.exr");
    }

    #[test]
    fn a_shot_without_sheet_is_named_by_its_files_or_their_folder() {
        let named = |plate: Option<&str>, cg: &str| {
            let typed = CheckArgs {
                plate: plate.map(PathBuf::from),
                mirrors: vec![file("mirror.exr")],
                cg: vec![file(cg)],
                ..CheckArgs::default()
            };
            let sheet = sheet(&typed);
            (sheet.shot, sheet.cg.version)
        };
        let of = |shot: &str, version: Option<&str>| (shot.to_owned(), version.map(str::to_owned));
        assert_eq!(named(Some("a/SF_0110/plate.1001.exr"), "renders/cg_sphere.v003.exr"), of("SF_0110", Some("v003")));
        assert_eq!(named(None, "show/SF_0140/cg_sphere.v007.1001.exr"), of("SF_0140", Some("v007")));
        assert_eq!(named(Some("plate.exr"), "SF_0430_cg.exr"), of("SF_0430", None));
        assert_eq!(named(Some("ferry/quay.1001.exr"), "ferry/cg.exr"), of("quay", None));
        assert_eq!(named(Some("ferry/plate.1001.exr"), "ferry/cg.exr"), of("ferry", None));
        assert_eq!(named(Some("all/case01_plate.exr"), "all/case01_cg.exr"), of("case01", None));
        assert_eq!(named(Some("all/plate.exr"), "all/cg_sphere_turned.v002.exr"), of("turned", Some("v002")));
    }

    #[test]
    fn options_say_what_the_pictures_are() {
        let typed = CheckArgs {
            encodings: vec![assignment::encoding("mirror=srgb").unwrap(), assignment::encoding("right=bt709").unwrap()],
            colour_spaces: vec![assignment::colour_space("cg=acescg").unwrap()],
            clip_levels: vec![assignment::clip_level("plate=12.5").unwrap()],
            outlines: vec![assignment::outline("left=10,20,5").unwrap()],
            tolerances: vec![assignment::tolerance("key-fill-ratio=0.5").unwrap()],
            ..args()
        };
        let sheet = apply(sheet(&typed), &typed, Path::new("o")).unwrap();
        assert_eq!(sheet.mirror("left").unwrap().bracket[1].encoding.as_deref(), Some("srgb"));
        assert_eq!(sheet.mirror("right").unwrap().bracket[0].encoding.as_deref(), Some("bt709"));
        assert!(sheet.mirror("right").unwrap().bracket[0].encoding_by_option);
        assert_eq!(sheet.cg.spheres[1].image.colour_space.as_deref(), Some("acescg"));
        assert_eq!(sheet.plate.as_ref().unwrap().clip_level, Some(12.5));
        assert_eq!(sheet.mirror("left").unwrap().outline_px, Some(vec![10.0, 20.0, 5.0]));
        assert_eq!(Some(sheet.tolerances.key_fill.stops), Some(0.5));
    }

    #[test]
    fn wrong_roles_and_outlines_are_refused() {
        for (typed, expected) in [
            (
                CheckArgs { encodings: vec![assignment::encoding("lefd=srgb").unwrap()], ..args() },
                "did you mean `left`?",
            ),
            (CheckArgs { outlines: vec![assignment::outline("mirror=1,2,3").unwrap()], ..args() }, "which of several"),
            (CheckArgs { near: vec![assignment::near("1,2,3").unwrap()], ..args() }, "which of several"),
            (CheckArgs { near: vec![assignment::near("left=1,2,1").unwrap()], ..args() }, "`mirrors[0].near_px`"),
            (
                CheckArgs {
                    outlines: vec![assignment::outline("left=1,2,3").unwrap()],
                    near: vec![assignment::near("left=1,2,3").unwrap()],
                    ..args()
                },
                "both `outline_px` and `near_px`",
            ),
            (
                CheckArgs { outlines: vec![assignment::outline("left=1,2").unwrap()], ..args() },
                "`mirrors[0].outline_px`",
            ),
            (
                CheckArgs { tolerances: vec![assignment::tolerance("color=1").unwrap()], ..args() },
                "did you mean `colour`?",
            ),
        ] {
            let text = apply(sheet(&typed), &typed, Path::new("o")).unwrap_err().to_string();
            assert!(text.contains(expected), "{text}");
        }
    }

    #[test]
    fn a_circle_drawn_by_hand_replaces_the_sheets_outline() {
        let mut before = sheet(&args());
        before.mirrors[0].outline_px = Some(vec![10.0, 20.0, 5.0]);
        let typed = CheckArgs { near: vec![assignment::near("left=12,21,6").unwrap()], ..args() };
        let after = apply(before, &typed, Path::new("o")).unwrap();
        assert_eq!((&after.mirrors[0].outline_px, &after.mirrors[0].near_px), (&None, &Some(vec![12.0, 21.0, 6.0])));
        let typed = CheckArgs { outlines: vec![assignment::outline("left=1,2,3").unwrap()], ..args() };
        let after = apply(after, &typed, Path::new("o")).unwrap();
        assert_eq!((&after.mirrors[0].outline_px, &after.mirrors[0].near_px), (&Some(vec![1.0, 2.0, 3.0]), &None));
    }

    #[test]
    fn a_newer_render_replaces_the_file_and_keeps_what_is_known_of_it() {
        let base = CheckArgs { mirrors: vec![file("s.exr")], cg: vec![file("old.exr")], ..CheckArgs::default() };
        let mut before = sheet(&base);
        before.cg.spheres[0].image.layer = Some("beauty".to_owned());
        let typed = CheckArgs { cg: vec![file("new.exr")], ..CheckArgs::default() };
        let after = replace_files(before, &typed).unwrap();
        assert!(Path::new(&after.cg.spheres[0].image.frame).is_absolute());
        assert!(after.cg.spheres[0].image.frame.ends_with("new.exr"));
        assert_eq!(after.cg.spheres[0].image.layer.as_deref(), Some("beauty"));
    }

    #[test]
    fn a_field_of_view_holds_for_both_sides() {
        let lens = LensArgs { fov_deg: Some(42.0), ..LensArgs::default() };
        let typed = CheckArgs { lens, ..args() };
        let mut before = sheet(&typed);
        before.cg.camera = Some(CameraSpec { focal_length_mm: Some(32.0), ..CameraSpec::default() });
        let after = apply(before, &typed, Path::new("o")).unwrap();
        assert_eq!(after.camera.as_ref().unwrap().fov_by_option_deg, Some(42.0));
        assert_eq!(after.cg_camera().unwrap().fov_by_option_deg, Some(42.0));
    }

    #[test]
    fn a_focal_length_needs_a_sensor() {
        let lens = LensArgs { focal_length_mm: Some(Positive(32.0)), ..LensArgs::default() };
        assert!(camera(None, &lens, Path::new("o")).is_err());
        let sheet = CameraSpec { sensor_mm: Some([24.0, 18.0]), focal_length_mm: Some(50.0), ..CameraSpec::default() };
        let told = camera(Some(sheet), &lens, Path::new("o")).unwrap().unwrap();
        assert_eq!((told.focal_length_mm, told.by_option), (Some(32.0), true));
    }
}
