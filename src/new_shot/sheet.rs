//! The drafted sheet as JSON.

use std::path::Path;

use serde_json::{Map, Value, json};

use super::look::Look;
use super::names::{bracket_key, shot_name, version};
use super::role::Role;
use super::roles::Guess;
use crate::Result;
use crate::base::relative::relative_to;
use crate::image::{SensorWidthBasis, Size};
use crate::sheet::SHEET_FORMAT;

/// What the sheet is made from.
pub(super) struct Content<'a> {
    pub(super) looks: &'a [Look],
    pub(super) guesses: &'a [Guess],
    pub(super) to_ask: &'a [String],
    pub(super) out: &'a Path,
    pub(super) shot: Option<&'a str>,
}

/// The sheet.
pub(super) fn sheet(content: &Content<'_>) -> Result<Value> {
    let mut sheet = json!({ "format": SHEET_FORMAT, "shot": content.shot_name() });
    put_first(&mut sheet, "plate", content, Role::Plate)?;
    plate_of_take(&mut sheet, content)?;
    let mirrors = mirrors(content)?;
    let names: Vec<Value> = mirrors.iter().map(|mirror| mirror["name"].clone()).collect();
    if !mirrors.is_empty() {
        sheet["mirrors"] = Value::Array(mirrors);
    }
    let mattes: Vec<Value> = brackets(content, Role::Matte)?;
    if !mattes.is_empty() {
        sheet["grey_spheres"] = mattes.into_iter().map(|bracket| json!({ "bracket": bracket })).collect();
    }
    sheet["cg"] = cg(content, &names)?;
    let on_set: Vec<&Look> = content.of(Role::Plate).chain(content.of(Role::Mirror)).collect();
    if let Some(camera) = camera(&on_set) {
        sheet["camera"] = camera;
    }
    let roles = [
        ("environment", Role::Environment),
        ("clean_plate", Role::CleanPlate),
        ("straight_lines", Role::StraightLines),
    ];
    for (key, role) in roles {
        put_first(&mut sheet, key, content, role)?;
    }
    if let Some(place) = place(content) {
        sheet["location"] = place;
    }
    let taken_for = content.guesses.iter().map(|guess| json!(guess_words(guess))).collect::<Vec<_>>();
    sheet["notes"] = json!({ "to_ask": content.to_ask, "taken_for": taken_for });
    Ok(sheet)
}

/// One guess for people.
fn guess_words(guess: &Guess) -> String {
    let used = if guess.used { "" } else { " (not used)" };
    format!("{}: {}{used}, because {}", guess.file, guess.role.words(), guess.why)
}

impl<'a> Content<'a> {
    fn of(&self, role: Role) -> impl Iterator<Item = &'a Look> {
        self.looks.iter().zip(self.guesses).filter(move |(_, g)| g.role == role && g.used).map(|(look, _)| look)
    }

    fn frame(&self, look: &Look) -> Result<String> {
        relative_to(&look.path, self.out)
    }

    /// The frame as an entry of the sheet.
    fn entry(&self, look: &Look) -> Result<Value> {
        let mut entry = json!({ "frame": self.frame(look)? });
        if let Some(take) = &look.take {
            entry["frame_number"] = take.number.into();
        }
        Ok(entry)
    }

    /// As given, else what a file's or the folder's name says, else the folder's whole name.
    fn shot_name(&self) -> String {
        let folder = std::path::absolute(self.out)
            .ok()
            .and_then(|out| Some(out.parent()?.file_name()?.to_string_lossy().into_owned()));
        let by_files = || self.looks.iter().find_map(|look| shot_name(&look.name()));
        let given = self.shot.map(str::to_owned);
        let by_folder = folder.as_deref().and_then(shot_name);
        given.or_else(by_files).or(by_folder).or(folder).unwrap_or_else(|| "shot".to_owned())
    }
}

fn put_first(sheet: &mut Value, key: &str, content: &Content<'_>, role: Role) -> Result<()> {
    if let Some(look) = content.of(role).next() {
        sheet[key] = content.entry(look)?;
    }
    Ok(())
}

/// A take in which a sphere is carried into view shows the plate before.
fn plate_of_take(sheet: &mut Value, content: &Content<'_>) -> Result<()> {
    if sheet.get("plate").is_some() {
        return Ok(());
    }
    let without = |look: &Look| look.take.as_ref().and_then(|take| take.without);
    if let Some((look, number)) = content.of(Role::Mirror).find_map(|look| Some((look, without(look)?))) {
        sheet["plate"] = json!({ "frame": content.frame(look)?, "frame_number": number });
    }
    Ok(())
}

/// Frames of one role by what they share in their names.
fn brackets(content: &Content<'_>, role: Role) -> Result<Vec<Value>> {
    let mut groups: Vec<((String, Size), Vec<Value>)> = Vec::new();
    for look in content.of(role) {
        // Exposures of one bracket show the same pixels.
        let key = (bracket_key(&look.name()), look.size);
        let frame = if look.take.is_some() { content.entry(look)? } else { Value::String(content.frame(look)?) };
        match groups.iter_mut().find(|(known, _)| *known == key) {
            Some((_, bracket)) => bracket.push(frame),
            None => groups.push((key, vec![frame])),
        }
    }
    Ok(groups.into_iter().map(|(_, bracket)| Value::Array(bracket)).collect())
}

fn mirrors(content: &Content<'_>) -> Result<Vec<Value>> {
    let named = |(i, bracket): (usize, Value)| json!({ "name": format!("m{}", i + 1), "bracket": bracket });
    Ok(brackets(content, Role::Mirror)?.into_iter().enumerate().map(named).collect())
}

/// Renders in the order of the mirrors.
fn cg(content: &Content<'_>, mirrors: &[Value]) -> Result<Value> {
    let renders: Vec<&Look> = content.of(Role::Cg).take(mirrors.len().max(1)).collect();
    let mut spheres = Vec::new();
    for (i, look) in renders.iter().enumerate() {
        let mut sphere = json!({ "frame": content.frame(look)? });
        if let Some(name) = mirrors.get(i) {
            sphere["mirror"] = name.clone();
        }
        if look.cut_out {
            sphere["alpha"] = json!("premultiplied");
        }
        spheres.push(sphere);
    }
    let mut cg = json!({});
    if !spheres.is_empty() {
        cg["spheres"] = Value::Array(spheres);
    }
    if let Some((version, _)) = renders.first().and_then(|look| version(&look.name())) {
        cg["version"] = version.into();
    }
    Ok(cg)
}

/// Focal length and the width that the picture covers on the sensor, where the file really tells both, mm.
pub(super) fn lens(look: &Look) -> Option<(f64, f64)> {
    let measured =
        matches!(look.meta.sensor_width_basis, Some(SensorWidthBasis::ReadOut | SensorWidthBasis::FocalPlane));
    look.meta.focal_length_mm.zip(look.meta.sensor_width_mm).filter(|_| measured)
}

fn camera(on_set: &[&Look]) -> Option<Value> {
    let mut camera = Map::new();
    let first = |number: &dyn Fn(&Look) -> Option<f64>| on_set.iter().find_map(|look| number(look));
    if let Some(focal) = first(&|look| look.meta.focal_length_mm) {
        camera.insert("focal_length_mm".to_owned(), rounded(focal));
    }
    if let Some((look, (_, width))) = on_set.iter().find_map(|look| Some((look, lens(look)?))) {
        // Photosites are square: an anamorphic picture is squeezed by its lens, not by its sensor.
        let height = width * look.size.height as f64 / look.size.width as f64;
        camera.insert("sensor_mm".to_owned(), json!([rounded(width), rounded(height)]));
        camera.insert("recorded_px".to_owned(), json!([look.size.width, look.size.height]));
    }
    if let Some(squeeze) = first(&|look| Some(look.pixel_aspect).filter(|aspect| (aspect - 1.0).abs() > 1e-3)) {
        camera.insert("squeeze".to_owned(), rounded(squeeze));
    }
    if let Some(heading) = first(&|look| look.meta.heading_deg) {
        camera.insert("heading_deg".to_owned(), rounded(heading));
    }
    (!camera.is_empty()).then_some(Value::Object(camera))
}

fn place(content: &Content<'_>) -> Option<Value> {
    let on_set: Vec<&Look> = content.of(Role::Mirror).chain(content.of(Role::Plate)).collect();
    let mut place = Map::new();
    let at = on_set.iter().find_map(|look| Some((look.meta.latitude_deg?, look.meta.longitude_deg?)));
    if let Some((latitude, longitude)) = at {
        place.insert("latitude_deg".to_owned(), json!(latitude));
        place.insert("longitude_deg".to_owned(), json!(longitude));
    }
    let time = on_set.iter().find_map(|look| look.meta.captured.filter(|time| time.utc_offset_s.is_some()));
    if let Some(time) = time {
        place.insert("time".to_owned(), time.to_string().replacen(' ', "T", 1).replace(" UTC", "").into());
    }
    (!place.is_empty()).then_some(Value::Object(place))
}

/// As a person would write it.
fn rounded(value: f64) -> Value {
    json!((value * 1e4).round() / 1e4)
}
