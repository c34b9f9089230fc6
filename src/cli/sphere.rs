//! `plateproof sphere`.

use std::fs;
use std::path::{Path, PathBuf};

use super::args::{Format, PictureArgs, SphereArgs};
use super::assignment::Numbers;
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use super::refuse::NEAR_TAKES;
use super::sphere_document::{SPHERE_FORMAT, SphereDocument};
use super::{overrides, sphere_text, wrong_use};
use crate::report::json::to_json_of;
use crate::report::report_stem;
use crate::report::write::{CANDIDATES_ENDING, remove_picture, replace_picture, write_whole};
use crate::sheet::{near_from, outline_from};
use crate::shot::{SphereQuery, measure_sphere};
use crate::sphere::{Outline, Told};
use crate::{Error, ErrorKind, Result, printable};

/// A measured sphere larger than this is not one of ours.
const MAX_DOCUMENT_BYTES: u64 = 64 << 20;

pub(super) fn run(args: &SphereArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let query = query(args)?;
    let mut outcome = {
        let progress = Progress::start(console.watched);
        progress.say(&format!("measuring {}", printable(&args.frame)));
        measure_sphere(&query)
    };
    let pictures = Pictures { sphere: outcome.picture_png.take(), candidates: outcome.candidates_png.take() };
    let document = SphereDocument::from(outcome);
    if let Some(note) = &document.error {
        Console::remark(&format!("plateproof: {}", note.lines()));
    }
    let json = to_json_of(&document);
    let written = args.out.as_deref().map(|dir| write(dir, &args.frame, &json, &pictures)).transpose()?;
    match args.format {
        Format::Json => console.answer(&json)?,
        Format::Text => console.answer(&(sphere_text::render(&document) + &written_words(written.as_deref())))?,
    }
    Ok(status(&document))
}

fn query(args: &SphereArgs) -> anyhow::Result<SphereQuery> {
    let frame = args.frame.to_str().ok_or_else(|| wrong_use("sphere", "the frame's name is not Unicode"))?;
    Ok(SphereQuery {
        image: args.read_as.image_spec(frame, &args.config, args.limits),
        camera: overrides::camera(None, &args.lens, &args.frame)?,
        horizontal_fov_deg: args.lens.fov_deg,
        told: told("sphere", &args.read_as)?,
        reflectance: args.reflectance.as_ref().map(|numbers| reflectance(&numbers.0)).transpose()?,
        picture: args.out.is_some() && !args.no_picture,
    })
}

/// What `--outline` or `--near` tell of the sphere's place.
pub(super) fn told(command: &str, args: &PictureArgs) -> anyhow::Result<Told> {
    let outline = args.outline.as_ref().map(|numbers| outline(command, numbers)).transpose()?;
    let wrong_near = || wrong_use(command, format!("--near {NEAR_TAKES}"));
    let near = args.near.as_ref().map(|numbers| near_from(&numbers.0).ok_or_else(wrong_near)).transpose()?;
    Ok(Told::of(outline, near))
}

fn outline(command: &str, numbers: &Numbers) -> anyhow::Result<Outline> {
    outline_from(&numbers.0).ok_or_else(|| {
        wrong_use(command, "--outline takes centre x, centre y, radius; or centre x, centre y, a, b, angle")
    })
}

fn reflectance(numbers: &[f64]) -> anyhow::Result<[f64; 3]> {
    let rgb: Option<[f64; 3]> = numbers.try_into().ok();
    rgb.filter(|rgb| rgb.iter().all(|value| *value > 0.0 && *value <= 1.2))
        .ok_or_else(|| wrong_use("sphere", "--reflectance takes red, green and blue, each above 0 and at most 1.2"))
}

fn status(document: &SphereDocument) -> ExitStatus {
    match (&document.error, document.candidates.len()) {
        (Some(_), _) => ExitStatus::Unusable,
        (None, 2..) => ExitStatus::Unsure,
        (None, _) => ExitStatus::AllMatch,
    }
}

/// PNG bytes of what is drawn.
#[derive(Default)]
struct Pictures {
    sphere: Option<Vec<u8>>,
    /// The round things of a frame in which no sphere was found.
    candidates: Option<Vec<u8>>,
}

/// Writes `<frame>.sphere.json` and, where there are such pictures, `<frame>.sphere.png` and `<frame>.candidates.png`; gives
/// the paths.
fn write(dir: &Path, frame: &Path, json: &str, pictures: &Pictures) -> Result<Vec<PathBuf>> {
    let stem = report_stem(&frame.file_stem().unwrap_or_default().to_string_lossy(), None);
    let (json_path, png_path) = (dir.join(format!("{stem}.sphere.json")), dir.join(format!("{stem}.sphere.png")));
    let candidates_path = dir.join(format!("{stem}.{CANDIDATES_ENDING}"));
    fs::create_dir_all(dir).map_err(|error| Error::io(dir, &error))?;
    // The picture has no mark that a person could not copy, so it counts as ours where its JSON file does.
    let is_ours = is_our_document(&json_path);
    for path in [&json_path, &png_path] {
        if path.exists() && !is_ours {
            let remedy = "choose another --out, or move that file away";
            return Err(Error::new(ErrorKind::Parameter, path, "this file was not written by plateproof", remedy));
        }
    }
    match &pictures.candidates {
        Some(png) => replace_picture(&candidates_path, png)?,
        // Those of an earlier run are answered. A picture of somebody else's stays.
        None => drop(remove_picture(&candidates_path)),
    }
    if let Some(png) = &pictures.sphere {
        write_whole(&png_path, png)?;
    }
    write_whole(&json_path, json.as_bytes())?;
    let written = [(pictures.sphere.is_some(), png_path), (pictures.candidates.is_some(), candidates_path)];
    let pictures = written.into_iter().filter_map(|(is_written, path)| is_written.then_some(path));
    Ok(std::iter::once(json_path).chain(pictures).collect())
}

fn is_our_document(path: &Path) -> bool {
    let small = path.metadata().is_ok_and(|meta| meta.is_file() && meta.len() <= MAX_DOCUMENT_BYTES);
    let value = || -> Option<serde_json::Value> { serde_json::from_str(&fs::read_to_string(path).ok()?).ok() };
    small && value().is_some_and(|value| value["format"] == SPHERE_FORMAT)
}

fn written_words(paths: Option<&[PathBuf]>) -> String {
    let names: Vec<String> = paths.unwrap_or_default().iter().map(|path| printable(path)).collect();
    if names.is_empty() { String::new() } else { format!("\nWritten: {}\n", names.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_foreign_file_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let json = format!("{{\"format\":\"{SPHERE_FORMAT}\"}}");
        let pictures = Pictures { sphere: Some(b"png".to_vec()), candidates: None };
        let write_here = || write(folder.path(), Path::new("a/s.1001.exr"), &json, &pictures);
        assert_eq!(write_here().unwrap().len(), 2);
        assert!(write_here().is_ok(), "our own earlier answer may be replaced");
        fs::write(folder.path().join("s.1001.sphere.json"), "{\"format\":\"other\"}").unwrap();
        assert!(write_here().unwrap_err().to_string().contains("not written by plateproof"));
        fs::remove_file(folder.path().join("s.1001.sphere.json")).unwrap();
        assert!(write_here().is_err(), "the picture alone may be anybody's");
    }
    #[test]
    fn candidates_are_written_over_none_but_our_own_and_go_when_they_are_answered() {
        let folder = tempfile::tempdir().unwrap();
        let png = crate::image::marked_png::encode_png(1, 1, &[0, 0, 0], "plateproof-report/1").unwrap();
        let json = format!("{{\"format\":\"{SPHERE_FORMAT}\"}}");
        let write_here = |candidates: Option<&[u8]>| {
            let pictures = Pictures { sphere: None, candidates: candidates.map(<[u8]>::to_vec) };
            write(folder.path(), Path::new("s.exr"), &json, &pictures)
        };
        let path = folder.path().join("s.candidates.png");
        assert_eq!(write_here(Some(&png)).unwrap().last(), Some(&path));
        assert!(write_here(Some(&png)).is_ok());
        write_here(None).unwrap();
        assert!(!path.exists(), "the sphere was found");
        fs::write(&path, "my own").unwrap();
        assert!(write_here(Some(&png)).is_err());
        write_here(None).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"my own");
    }
}
