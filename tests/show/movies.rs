//! Shots whose plate and sphere are frames of one movie.
//!
//! Without FFmpeg these tests say that they were skipped.

#![allow(clippy::print_stdout, reason = "a skipped test says why")]

use std::fs;
use std::path::Path;
use std::process::Command;

use image::{ImageBuffer, Rgb};
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};
use serde_json::{Value, json};

use super::run;

fn golden(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match").join(name)
}

fn installed() -> bool {
    let there = Command::new("ffmpeg").arg("-version").output().is_ok_and(|out| out.status.success());
    if !there {
        println!("SKIPPED: ffmpeg is not installed, so no movie was read");
    }
    there
}

/// A path-traced frame as 16-bit LogC4 codes.
fn coded(name: &str, to: &Path) {
    let path = golden(name);
    let limits = Limits::default();
    let frame = open(&OpenRequest { shown_as: name, ..OpenRequest::of(&path, "plate", &limits) }).unwrap();
    let width = frame.size.width;
    let code = |value: f32| (65_535.0 * Encoding::LogC4.encode(f64::from(value)).clamp(0.0, 1.0)).round() as u16;
    let picture = ImageBuffer::from_fn(width as u32, frame.size.height as u32, |x, y| {
        Rgb(frame.rgb[y as usize * width + x as usize].map(code))
    });
    picture.save(to).unwrap();
}

/// A lossless movie of these path-traced frames.
fn movie(folder: &Path, frames: &[&str]) {
    for (i, name) in frames.iter().enumerate() {
        coded(name, &folder.join(format!("f{}.png", i + 1)));
    }
    let words =
        ["-v", "error", "-framerate", "24", "-i", "f%d.png", "-c:v", "ffv1", "-pix_fmt", "gbrp16le", "-y", "take.mkv"];
    let made = Command::new("ffmpeg").current_dir(folder).args(words).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    (1..=frames.len()).for_each(|i| fs::remove_file(folder.join(format!("f{i}.png"))).unwrap());
}

fn sheet(folder: &Path, mirror: &Value) {
    let mut sheet: Value = serde_json::from_slice(&fs::read(golden("shot.json")).unwrap()).unwrap();
    sheet["plate"] = json!({ "frame": "take.mkv", "frame_number": 1, "encoding": "logc4", "colour_space": "rec709" });
    sheet["mirrors"][0]["bracket"] = json!([mirror]);
    sheet["mirrors"][0]["encoding"] = json!("logc4");
    fs::copy(golden("cg.exr"), folder.join("cg.exr")).unwrap();
    fs::write(folder.join("shot.json"), sheet.to_string()).unwrap();
}

/// Exit status and verdict of every finding for the frames as OpenEXR.
fn as_frames() -> (i32, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    for name in ["shot.json", "plate.exr", "mirror.exr", "cg.exr"] {
        fs::copy(golden(name), folder.path().join(name)).unwrap();
    }
    let status = run(folder.path(), &["check", "shot.json", "--no-picture", "--out", "out"]).0;
    (status, verdicts(&report(folder.path())))
}

fn verdicts(report: &Value) -> Vec<String> {
    let told = |f: &Value| format!("{} of {}: {}", f["check"], f["concerns"], f["verdict"]);
    let mut all: Vec<String> = report["findings"].as_array().unwrap().iter().map(told).collect();
    all.sort();
    all
}

fn report(folder: &Path) -> Value {
    serde_json::from_slice(&fs::read(folder.join("out/SF_010.v001.report.json")).unwrap()).unwrap()
}

/// The verdict is that of the frames as OpenEXR, the report says which frames were read, and a movie that has not changed is not
/// checked again.
#[test]
fn a_shot_of_movie_frames_matches_as_its_frames_do() {
    if !installed() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    movie(folder, &["plate.exr", "mirror.exr", "plate.exr"]);
    sheet(folder, &json!({ "frame": "take.mkv", "frame_number": 2 }));
    let check = ["check", "shot.json", "--no-picture", "--out", "out"];
    let (status, out, err) = run(folder, &check);
    let first = report(folder);
    assert_eq!((status, verdicts(&first)), as_frames(), "{out}{err}");
    let inputs = first["inputs"].as_array().unwrap();
    let number = |role: &str| inputs.iter().find(|i| i["role"] == role).unwrap()["movie"]["frame_number"].as_u64();
    assert_eq!((number("plate"), number("mirror"), number("cg")), (Some(1), Some(2), None));
    assert_eq!(inputs[0]["movie"]["pixel_format"], "gbrp16le");
    let written = || fs::metadata(folder.join("out/SF_010.v001.report.json")).unwrap().modified().unwrap();
    let before = written();
    assert_eq!(run(folder, &check).0, status);
    assert_eq!(written(), before, "nothing has changed, so nothing is checked");
    movie(folder, &["plate.exr", "plate.exr", "plate.exr"]);
    assert_ne!(run(folder, &check).0, status, "the second frame of another movie has no sphere");
    assert_ne!(written(), before, "another movie is read anew");
}

/// The sphere carried to three marks: one pass, every frame told.
#[test]
fn a_take_is_sampled_by_the_movie_s_own_numbers() {
    if !installed() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    movie(folder, &["plate.exr", "mirror.exr", "mirror.exr", "mirror.exr", "plate.exr"]);
    sheet(folder, &json!({ "frame": "take.mkv", "frame_range": [2, 4] }));
    let (status, out, err) = run(folder, &["check", "shot.json", "--no-picture", "--out", "out"]);
    assert_eq!(status, as_frames().0, "{out}{err}");
    let frames = report(folder)["sequence"]["frames"].clone();
    let numbers: Vec<u64> = frames.as_array().unwrap().iter().filter_map(|f| f["frame"].as_u64()).collect();
    assert_eq!(numbers, [2, 3, 4]);
}

#[test]
fn new_shot_says_in_which_frames_a_sphere_is_seen() {
    if !installed() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    movie(folder, &["plate.exr", "mirror.exr", "mirror.exr", "plate.exr"]);
    let (_, out, err) = run(folder, &["new-shot", "take.mkv"]);
    let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("a mirror sphere is seen in frames 2 to 3 of 4"), "{out}{err}");
    assert!(told.contains("how take.mkv was recorded"), "{out}{err}");
    let drafted: Value = serde_json::from_slice(&fs::read(folder.join("shot.json")).unwrap()).unwrap();
    assert_eq!(drafted["mirrors"][0]["bracket"][0], json!({ "frame": "take.mkv", "frame_number": 2 }));
    assert_eq!(drafted["plate"], json!({ "frame": "take.mkv", "frame_number": 1 }));
}

/// Without the programs a movie is refused with how to get them, and other shots go on.
#[test]
fn without_ffmpeg_the_error_says_how_to_install_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::write(folder.join("take.mkv"), [0x1a, 0x45, 0xdf, 0xa3, 0, 0, 0, 0]).unwrap();
    sheet(folder, &json!({ "frame": "take.mkv", "frame_number": 2 }));
    let mut program = super::program(folder, &["check", "shot.json", "--no-picture", "--out", "out"]);
    let out = program.env("PATH", folder).output().unwrap();
    let told = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2));
    assert!(told.contains("apt install ffmpeg"), "{told}");
}
