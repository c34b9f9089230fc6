//! Whether a report still says what checking its shot again would say.
//!
//! Every report carries a fingerprint of all it came from: the program's version, the sheet with what it extends and
//! what options changed, and the content of every file that the sheet names. It also carries the hashes of the files
//! beside it and of itself. Where all of them agree, checking again would write the same bytes.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use serde_json::{Value, json};

use super::Options;
use super::file_hashes::FileHashes;
use super::sequence::{frame_numbers, sheet_at};
use crate::base::date::IsoDate;
use crate::check::clean_plate::files_of_take;
use crate::findings::{Provenance, REPORT_FORMAT, Report, ShotVerdict, ToolNote};
use crate::image::colour_config::{self, name_in_config};
use crate::report::{report_stem, to_json};
use crate::sheet::ShotSheet;
use crate::shot::ShotOutcome;

/// A report larger than this is not one of ours.
const MAX_REPORT_BYTES: u64 = 64 << 20;

/// Notes in the report what it came from, and the hashes of the files that will stand beside it.
///
/// Files that the report lists among its inputs are taken as it read them, from `begun` on; the others are hashed now. A shot that could
/// not be done gets no such note: it is tried again every time.
pub fn seal(
    result: &mut ShotOutcome,
    sheet: &ShotSheet,
    options: Options,
    text: &str,
    (hashes, begun): (&FileHashes, SystemTime),
) {
    let ShotOutcome { report, picture_png, attachments } = result;
    if report.verdict == ShotVerdict::Error {
        return;
    }
    let read: BTreeMap<&str, &str> = report.inputs.iter().map(|i| (i.file.as_str(), i.blake3.as_str())).collect();
    let hash_of = |name: &str, path: &Path| {
        let Some(hash) = read.get(name) else { return hashes.of(path) };
        hashes.note(path, hash, begun);
        Some((*hash).to_owned())
    };
    let fingerprint = fingerprint(sheet, options, &hash_of);
    let hash = |bytes: &[u8]| blake3::hash(bytes).to_hex().to_string();
    report.provenance = Some(Provenance {
        fingerprint,
        text_blake3: hash(text.as_bytes()),
        picture_blake3: picture_png.as_deref().map(hash),
        beside_blake3: attachments.iter().map(|file| (file.ending.clone(), hash(&file.bytes))).collect(),
        report_blake3: String::new(),
    });
    let own = hash(to_json(report).as_bytes());
    if let Some(provenance) = &mut report.provenance {
        provenance.report_blake3 = own;
    }
}

/// A report that still holds.
#[derive(Debug)]
pub struct StillValid {
    /// It.
    pub report: Report,
    /// Content hash of its file.
    pub file_blake3: String,
}

/// The report of this shot in `dir`, where it and the files beside it are whole and came from the very same sheet,
/// files, options and version.
pub fn still_valid(dir: &Path, sheet: &ShotSheet, options: Options, hashes: &FileHashes) -> Option<StillValid> {
    let stem = report_stem(&sheet.shot, sheet.cg.version.as_deref());
    let beside = |ending: &str| dir.join(format!("{stem}.report.{ending}"));
    let text = read_limited(&beside("json"))?;
    let report: Report = serde_json::from_slice(&text).ok()?;
    let provenance = report.provenance.as_ref()?;
    let ours = report.format == REPORT_FORMAT && report.tool == ToolNote::current();
    let same_shot = report.shot == sheet.shot && report.version == sheet.cg.version;
    if !ours || !same_shot || !own_hash_agrees(&text, provenance) {
        return None;
    }
    let is = |path: PathBuf, wanted: &String| hashes.of(&path).as_ref() == Some(wanted);
    let whole = is(beside("txt"), &provenance.text_blake3)
        && provenance.picture_blake3.as_ref().map_or(!beside("png").exists(), |wanted| is(beside("png"), wanted))
        && provenance.beside_blake3.iter().all(|(ending, wanted)| is(dir.join(format!("{stem}.{ending}")), wanted));
    let same = whole && fingerprint(sheet, options, &|_, path| hashes.of(path)) == provenance.fingerprint;
    let file_blake3 = blake3::hash(&text).to_hex().to_string();
    same.then_some(StillValid { report, file_blake3 })
}

/// The file is to the byte what was sealed: without its own hash it has that hash.
fn own_hash_agrees(text: &[u8], provenance: &Provenance) -> bool {
    let Ok(text) = std::str::from_utf8(text) else { return false };
    let sealed = format!("\"report_blake3\": \"{}\"", provenance.report_blake3);
    let Some(at) = text.rfind(&sealed) else { return false };
    let mut hasher = blake3::Hasher::new();
    hasher.update(&text.as_bytes()[..at]).update(b"\"report_blake3\": \"\"");
    hasher.update(&text.as_bytes()[at + sealed.len()..]);
    hasher.finalize().to_hex().as_str() == provenance.report_blake3
}

/// Hash of everything that a report comes from; `hash_of` gives the hash of a file by its name and path.
fn fingerprint(sheet: &ShotSheet, options: Options, hash_of: &dyn Fn(&str, &Path) -> Option<String>) -> String {
    let today = IsoDate::today_utc();
    let by_option = |image: &crate::sheet::ImageSpec| [image.encoding_by_option, image.colour_space_by_option];
    let cameras = [&sheet.camera, &sheet.cg.camera];
    let told = serde_json::to_value(sheet).unwrap_or_default();
    let files =
        files_of(sheet, &told, options.every).into_iter().map(|(name, path)| json!([name, hash_of(&name, &path)]));
    let files: Vec<Value> = files.collect();
    let by_config =
        |image: &&crate::sheet::ImageSpec| image.encoding.as_deref().is_some_and(|e| name_in_config(e).is_some());
    let config =
        sheet.images().iter().map(|(_, image)| *image).find(by_config).and_then(|image| image.colour_config.clone());
    let config_files = config.as_deref().map(colour_config::files).unwrap_or_default();
    let config_files: Vec<Value> =
        config_files.iter().map(|path| json!([path, hash_of(&path.to_string_lossy(), path)])).collect();
    let mut all = json!({
        "tool": ToolNote::current(),
        "sheet": null,
        "encodings_by_option": sheet.images().iter().map(|(_, image)| by_option(image)).collect::<Vec<_>>(),
        "cameras_by_option": cameras.map(|camera| camera.as_ref().map(|c| (c.by_option, c.fov_by_option_deg))),
        // A waiver that ends changes the verdict though no file has changed.
        "waivers_in_force": sheet.waivers.iter().map(|w| w.covers(&w.check.as_str().into(), today)).collect::<Vec<_>>(),
        "picture": options.picture,
        "from_inside": options.from_inside,
        "predict": options.predict,
        "fixes": options.fixes,
        "every": options.every,
        "files": files.into_iter().chain(config_files).collect::<Vec<_>>(),
    });
    // It may hold hundreds of thousands of notes, which the macro would copy one by one.
    all["sheet"] = told;
    blake3::hash(all.to_string().as_bytes()).to_hex().to_string()
}

/// Every file that the sheet names, under the name it gives, once each; of a moving shot those of every sample.
pub(super) fn named_files(sheet: &ShotSheet, every: Option<u32>) -> Vec<(String, PathBuf)> {
    files_of(sheet, &serde_json::to_value(sheet).unwrap_or_default(), every)
}

/// The same of a sheet that is at hand as JSON too.
fn files_of(sheet: &ShotSheet, told: &Value, every: Option<u32>) -> Vec<(String, PathBuf)> {
    let mut files = BTreeMap::new();
    let moving = frame_numbers(sheet, every).ok().flatten();
    let samples: Vec<Cow<'_, ShotSheet>> = match moving {
        Some(numbers) => numbers.into_iter().map(|number| Cow::Owned(sheet_at(sheet, number))).collect(),
        None => vec![Cow::Borrowed(sheet)],
    };
    let mut add = |name: String| {
        let path = sheet.base_dir.join(&name);
        files.insert(name, path);
    };
    for sample in &samples {
        for name in sample.images().iter().filter_map(|(_, image)| image.file_name().ok()) {
            add(name);
        }
        // Each plate frame is held against the best of a whole clean take.
        let takes = sample.clean_plate.iter().flat_map(|clean| sample.plate.iter().chain([clean]));
        takes.flat_map(files_of_take).for_each(&mut add);
    }
    // Whatever else in the sheet names a file, so that no kind of input can be forgotten here.
    other_files(told, &sheet.base_dir, &mut files);
    files.into_iter().collect()
}

fn other_files(value: &Value, base_dir: &Path, files: &mut BTreeMap<String, PathBuf>) {
    match value {
        Value::Object(map) => {
            map.iter().filter(|(key, _)| *key != "notes").for_each(|(_, child)| other_files(child, base_dir, files));
        }
        Value::Array(list) => list.iter().for_each(|child| other_files(child, base_dir, files)),
        Value::String(name) if !name.is_empty() && !files.contains_key(name) => {
            let path = base_dir.join(name);
            if path.is_file() {
                files.insert(name.clone(), path);
            }
        }
        _ => {}
    }
}

fn read_limited(path: &Path) -> Option<Vec<u8>> {
    path.metadata().ok().filter(|about| about.is_file() && about.len() <= MAX_REPORT_BYTES)?;
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(MAX_REPORT_BYTES).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}
