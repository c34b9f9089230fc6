//! The demo show: shots of an invented film about a salt ferry, with mismatches that are known because code put them in.
//!
//! Nothing here was photographed. Place, film, shot names, sphere and camera are made up; every frame is computed from
//! a closed description of the light ([`scene::Scene`]) by [`render::render`]. What a perfect measurement would say is
//! in [`truths`]. The same version writes the same bytes on every run.

mod block;
#[cfg(test)]
mod checked_tests;
mod develop;
mod frames;
mod from_set;
mod hall;
mod harbour;
mod lantern;
mod matte;
mod noise;
mod open_air;
pub mod render;
pub mod scene;
pub mod set;
mod sheets;
mod shot;
mod shots;
mod truth;
mod variants;

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::base::error::{Error, ErrorKind, Result};
use crate::base::staging::write_atomically;
use crate::image::write::{ExrAttributes, write_exr, write_jpeg, write_layered_exr};
use crate::image::{DataWindow, Size};
use render::Picture;
use sheets::{FrameNames, shot_sheet, show_sheet, sphere_distance_mm};
use shot::FromSet;
use shot::{MirrorTake, Shot};
use shots::shots;

pub use block::Block;
pub use develop::{Noise, Veil, develop};
pub use hall::Hall;
pub use open_air::OpenAir;
pub use truth::{CheckTruth, LightTruth, ShotTruth, truths};
pub use variants::{NoteFault, VARIANTS, Variant};

/// Writes the whole show into `dir` (made where absent): `show.json` and for each shot a folder with its sheet
/// `shot.json` and its frames. Returns the sheets' paths in the order of the film.
///
/// A file appears under its name only when complete. A file that is there already with other content than the show's
/// is left alone and is an error; running again over the same show changes nothing.
///
/// # Errors
/// `Io` where the folder cannot be written, `Parameter` where a file in it is not the show's own.
pub fn write_show(dir: &Path, progress: &mut dyn FnMut(&str)) -> Result<Vec<PathBuf>> {
    let shots = shots();
    let texts = Texts::of(dir, &shots);
    texts.refuse_foreign(&shots, dir)?;
    make_folder(dir)?;
    let staging =
        tempfile::Builder::new().prefix(".plateproof-demo-").tempdir_in(dir).map_err(|error| Error::io(dir, &error))?;
    write_text(&texts.show.0, &texts.show.1)?;
    for (shot, (sheet, text)) in shots.iter().zip(&texts.sheets) {
        progress(&format!("{}: {}", shot.name, shot.built_in));
        let folder = dir.join(shot.name);
        make_folder(&folder)?;
        write_frames(shot, &folder, staging.path())?;
        write_text(sheet, text)?;
    }
    for (variant, (sheet, text)) in VARIANTS.iter().zip(texts.sheets.iter().skip(shots.len())) {
        progress(&format!("{}: {}", variant.name, variant.built_in));
        write_variant(variant, &shots, dir, staging.path())?;
        write_text(sheet, text)?;
    }
    Ok(texts.sheets.into_iter().map(|(path, _)| path).collect())
}

/// All texts of the show with their paths.
struct Texts {
    show: (PathBuf, String),
    sheets: Vec<(PathBuf, String)>,
}

impl Texts {
    fn of(dir: &Path, shots: &[Shot]) -> Self {
        let sheet = |shot: &Shot| (dir.join(shot.name).join("shot.json"), pretty(&shot_sheet(shot)));
        let variants = VARIANTS.iter().filter_map(|variant| {
            let shot = base_of(variant, shots)?;
            let text = pretty(&variants::sheet(variant, shot, sphere_distance_mm(shot)));
            Some((dir.join(variant.name).join("shot.json"), text))
        });
        let sheets = shots.iter().map(sheet).chain(variants).collect();
        Self { show: (dir.join("show.json"), pretty(&show_sheet())), sheets }
    }

    /// Looks before anything is written: other people's sheets, or frames in a folder that is not the show's.
    fn refuse_foreign(&self, shots: &[Shot], dir: &Path) -> Result<()> {
        for (path, text) in std::iter::once(&self.show).chain(&self.sheets) {
            if path.exists() && fs::read(path).map_err(|error| Error::io(path, &error))? != text.as_bytes() {
                return Err(foreign(path));
            }
        }
        if self.show.0.exists() {
            return Ok(());
        }
        let frames = shots.iter().flat_map(|shot| {
            let names = FrameNames::of(shot);
            let always = [names.plate.to_owned(), names.mirror.to_owned(), names.cg];
            let mended = shot.with_mended_render().map(|mended| FrameNames::of(&mended).cg);
            let captured = names.environment.map(str::to_owned);
            let all = always.into_iter().chain(mended).chain(captured).chain(shot.from_set.names().map(str::to_owned));
            all.map(|name| dir.join(shot.name).join(name)).collect::<Vec<_>>()
        });
        frames.into_iter().find(|path| path.exists()).map_or(Ok(()), |path| Err(foreign(&path)))
    }
}

fn foreign(path: &Path) -> Error {
    Error::new(
        ErrorKind::Parameter,
        path,
        "already exists and is not what the demo show would write",
        "choose an empty folder, or move that file away",
    )
}

fn pretty(value: &Value) -> String {
    format!("{value:#}\n")
}

fn make_folder(path: &Path) -> Result<()> {
    fs::create_dir_all(path).map_err(|error| Error::io(path, &error))
}

fn write_text(path: &Path, text: &str) -> Result<()> {
    use std::io::Write;
    write_atomically(path, |file| file.write_all(text.as_bytes()).map_err(|error| Error::io(path, &error)))
}

fn write_frames(shot: &Shot, folder: &Path, staging: &Path) -> Result<()> {
    let names = FrameNames::of(shot);
    place(&folder.join(names.plate), staging, |path| {
        write_picture(path, &frames::plate(shot), &on_set(shot.clock.plate))
    })?;
    place(&folder.join(names.mirror), staging, |path| match shot.mirror_take {
        MirrorTake::Good => write_picture(path, &frames::mirror(shot), &on_set(shot.clock.mirror)),
        MirrorTake::Poor => write_poor_jpeg(path, &frames::mirror(shot)),
    })?;
    place(&folder.join(names.cg), staging, |path| write_cg(path, shot))?;
    if let Some(mended) = shot.with_mended_render() {
        place(&folder.join(FrameNames::of(&mended).cg), staging, |path| write_cg(path, &mended))?;
    }
    if let Some((take, name)) = shot.environment.zip(names.environment) {
        let attributes = ExrAttributes { lat_long: true, ..ExrAttributes::default() };
        place(&folder.join(name), staging, |path| write_picture(path, &frames::environment(shot, take), &attributes))?;
    }
    FromSet::pictures(shot, |name, picture| {
        place(&folder.join(name), staging, |path| write_picture(path, picture, &ExrAttributes::default()))
    })
}

/// The CG sphere, with its lights' layers where the shot has them.
fn write_cg(path: &Path, shot: &Shot) -> Result<()> {
    let (picture, attributes) = (frames::cg(shot), ExrAttributes::default());
    if shot.light_layers.is_empty() {
        return write_picture(path, &picture, &attributes);
    }
    let layers = frames::cg_layers(shot);
    write_layered_exr(path, picture.size, &picture.rgb, picture.alpha.as_deref(), &layers, &attributes)
}

/// The shot whose frames a variant uses.
fn base_of<'a>(variant: &Variant, shots: &'a [Shot]) -> Option<&'a Shot> {
    shots.iter().find(|shot| shot.name == variant.of)
}

fn write_variant(variant: &Variant, shots: &[Shot], dir: &Path, staging: &Path) -> Result<()> {
    let folder = dir.join(variant.name);
    make_folder(&folder)?;
    let Some(shot) = base_of(variant, shots) else { return Ok(()) };
    let attributes = |name: &str| match variant.fault {
        NoteFault::NextMorning => on_set(NEXT_MORNING),
        NoteFault::Elsewhere if name.starts_with("mirror") => on_set(shot.clock.mirror),
        _ => ExrAttributes::default(),
    };
    for name in variants::own_frames(variant) {
        place(&folder.join(name), staging, |path| match variant.fault {
            NoteFault::Mended => write_cg(path, &variants::mended(shot)),
            _ => write_picture(path, &variants::own_picture(variant, shot, name), &attributes(name)),
        })?;
    }
    Ok(())
}

/// Makes a file in the staging folder and moves it to its place, unless the same file is there already.
fn place(path: &Path, staging: &Path, write: impl FnOnce(&Path) -> Result<()>) -> Result<()> {
    let staged = staging.join(path.file_name().unwrap_or_default());
    write(&staged)?;
    let bytes = |path: &Path| fs::read(path).map_err(|error| Error::io(path, &error));
    if path.exists() {
        return if bytes(path)? == bytes(&staged)? { Ok(()) } else { Err(foreign(path)) };
    }
    fs::rename(&staged, path).map_err(|error| Error::io(path, &error))
}

/// When the sphere frame of the wrong day was taken, by the clock of the invented camera.
const NEXT_MORNING: &str = "2026:05:13 08:10:00";

/// The invented camera's settings, the same for plate and mirror frame.
fn on_set(time: &str) -> ExrAttributes {
    ExrAttributes {
        capture_date: Some(time.to_owned()),
        utc_offset_s: Some(-7200.0),
        exposure_time_s: Some(1.0 / 48.0),
        f_number: Some(2.8),
        iso_speed: Some(800.0),
        ..ExrAttributes::default()
    }
}

fn write_picture(path: &Path, picture: &Picture, attributes: &ExrAttributes) -> Result<()> {
    let Size { width, height } = picture.size;
    let data = DataWindow { x: 0, y: 0, width, height };
    write_exr(path, picture.size, data, &picture.rgb, picture.alpha.as_deref(), attributes)
}

/// 8 bits, sRGB curve (IEC 61966-2-1), strongly compressed.
fn write_poor_jpeg(path: &Path, picture: &Picture) -> Result<()> {
    let encode = |linear: f32| {
        let v = linear.clamp(0.0, 1.0);
        let code = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
        (code * 255.0).round() as u8
    };
    let codes: Vec<[u8; 3]> = picture.rgb.iter().map(|pixel| pixel.map(encode)).collect();
    write_jpeg(path, picture.size, &codes, 72)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every file of a folder with its content, sorted by name.
    fn contents(dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
        let mut list = Vec::new();
        for entry in fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                list.extend(contents(&path));
            } else {
                list.push((path.clone(), fs::read(&path).unwrap()));
            }
        }
        list.sort();
        list
    }

    #[test]
    fn frames_are_the_same_on_any_number_of_threads() {
        let folder = tempfile::tempdir().unwrap();
        let shot = shots().remove(0);
        let dir = folder.path().join(shot.name);
        fs::create_dir(&dir).unwrap();
        let staging = tempfile::tempdir_in(folder.path()).unwrap();
        write_frames(&shot, &dir, staging.path()).unwrap();
        let first = contents(&dir);
        assert!(!first.is_empty());
        // Other bytes would be refused as foreign.
        let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        one_thread.install(|| write_frames(&shot, &dir, staging.path())).unwrap();
        assert!(first == contents(&dir));
    }

    #[test]
    fn a_changed_frame_is_refused_and_kept() {
        let folder = tempfile::tempdir().unwrap();
        let (path, staging) = (folder.path().join("a.txt"), tempfile::tempdir().unwrap());
        let write = |text: &'static str| move |path: &Path| write_text(path, text);
        place(&path, staging.path(), write("ours")).unwrap();
        place(&path, staging.path(), write("ours")).unwrap();
        assert_eq!(place(&path, staging.path(), write("other")).unwrap_err().kind, ErrorKind::Parameter);
        assert_eq!(fs::read(&path).unwrap(), b"ours");
    }

    #[test]
    fn files_of_others_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let theirs = folder.path().join("SF_0320").join("plate.1001.exr");
        fs::create_dir_all(theirs.parent().unwrap()).unwrap();
        fs::write(&theirs, "theirs").unwrap();
        let error = write_show(folder.path(), &mut |_| ()).unwrap_err();
        assert_eq!((error.kind, &error.file), (ErrorKind::Parameter, &theirs));
        assert_eq!(contents(folder.path()).len(), 1);
        fs::write(folder.path().join("show.json"), "{}").unwrap();
        assert!(write_show(folder.path(), &mut |_| ()).unwrap_err().file.ends_with("show.json"));
        assert_eq!(fs::read(&theirs).unwrap(), b"theirs");
    }
}
