//! The whole of `check` on three 4096 × 2160 half-float ZIP OpenEXR frames, against a bare decode of the same files' RGB
//! by the `exr` crate, one after another.
//!
//! `cargo bench --bench whole_check` makes the frames, runs both as processes of their own in turn, and prints wall and
//! processor time, their ratios and the largest resident memory. The targets are 1.5 times the decode without and 2.0
//! times with the picture, and 1.5 GB. Where `PLATEPROOF_BENCH_DIR` names a folder, the frames are made there once and
//! kept, so that the same files can be looked at with a profiler.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

use std::error::Error;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use exr::prelude::*;
use nalgebra::Vector3;
use plateproof::camera::{FovSource, View};
use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::{Backdrop, DiscLight, Panel, Scene, black_body, direction_of};
use plateproof::demo::{Noise, OpenAir};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};

const SIZE: Size = Size { width: 4096, height: 2160 };
const FOV_DEG: f64 = 42.0;
const SPHERE_CENTRE_PX: [f64; 2] = [2310.0, 1190.0];
const SPHERE_RADIUS_PX: f64 = 300.0;
const REFLECTANCE: [f64; 3] = [0.62, 0.60, 0.56];
const FRAMES: [&str; 3] = ["plate.exr", "mirror.exr", "cg.exr"];
const RUNS: usize = 5;

/// With this argument the bench is the decoding process.
const DECODE: &str = "--only-decode";

fn main() -> std::result::Result<(), Box<dyn Error>> {
    let arguments: Vec<OsString> = std::env::args_os().skip(1).collect();
    if arguments.first().is_some_and(|first| first == DECODE) {
        return decode(&arguments[1..]);
    }
    let temporary = tempfile::tempdir()?;
    let folder = std::env::var_os("PLATEPROOF_BENCH_DIR").map_or_else(|| temporary.path().to_owned(), PathBuf::from);
    fs::create_dir_all(&folder)?;
    make_frames(&folder)?;
    let (mut bare, mut plain, mut picture) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..RUNS {
        bare.push(measure(&mut decoding(&folder)?)?);
        plain.push(measure(&mut checking(&folder, false))?);
        picture.push(measure(&mut checking(&folder, true))?);
    }
    report(&bare, &plain, &picture);
    Ok(())
}

fn report(bare: &[Run], plain: &[Run], picture: &[Run]) {
    let base = summary("decode by the exr crate", bare, None);
    summary("check, text and JSON", plain, Some((&base, 1.5)));
    summary("check with picture", picture, Some((&base, 2.0)));
}

/// Prints the medians of one kind of run, against the bare decode where given.
fn summary(what: &str, runs: &[Run], against: Option<(&Run, f64)>) -> Run {
    let median = Run {
        wall: middle(runs.iter().map(|r| r.wall)),
        processor: middle(runs.iter().map(|r| r.processor)),
        peak_bytes: runs.iter().map(|r| r.peak_bytes).max().unwrap_or(0),
    };
    let ratios = against.map_or_else(String::new, |(base, target)| {
        let ratio = |a: Duration, b: Duration| a.as_secs_f64() / b.as_secs_f64();
        let (wall, processor) = (ratio(median.wall, base.wall), ratio(median.processor, base.processor));
        format!(", {wall:.2} times the decode (target {target}; {processor:.2} of processor time)")
    });
    println!(
        "{what}: {:.0} ms wall, {:.0} ms processor, {:.0} MB at most{ratios}",
        median.wall.as_secs_f64() * 1e3,
        median.processor.as_secs_f64() * 1e3,
        median.peak_bytes as f64 / 1e6,
    );
    median
}

fn middle(times: impl Iterator<Item = Duration>) -> Duration {
    let mut times: Vec<Duration> = times.collect();
    times.sort();
    times.get(times.len() / 2).copied().unwrap_or_default()
}

/// What one process took.
struct Run {
    wall: Duration,
    processor: Duration,
    peak_bytes: u64,
}

/// Runs a process to its end, asking for its memory all the while. A check may end with status 1 (mismatch) or 3.
fn measure(command: &mut Command) -> std::result::Result<Run, Box<dyn Error>> {
    let before = processor_time_of_children();
    let start = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn()?;
    let mut peak_bytes = 0;
    let status = loop {
        peak_bytes = peak_bytes.max(resident_peak_bytes(child.id()).unwrap_or(0));
        match child.try_wait()? {
            Some(status) => break status,
            None => std::thread::sleep(Duration::from_millis(2)),
        }
    };
    let wall = start.elapsed();
    let processor = processor_time_of_children().saturating_sub(before);
    match status.code() {
        Some(0 | 1 | 3) => Ok(Run { wall, processor, peak_bytes }),
        other => Err(format!("{command:?} ended with {other:?}").into()),
    }
}

/// Largest resident memory so far (`VmHWM`); `None` where the system does not tell.
fn resident_peak_bytes(process: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

/// Processor time of all children that have ended: fields 16 and 17 of `/proc/self/stat` in hundredths of a second.
fn processor_time_of_children() -> Duration {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit_once(')').map_or("", |parts| parts.1);
    let ticks: u64 = after_name.split_whitespace().skip(13).take(2).filter_map(|n| n.parse::<u64>().ok()).sum();
    Duration::from_millis(ticks * 10)
}

fn decoding(folder: &Path) -> std::io::Result<Command> {
    let mut command = Command::new(std::env::current_exe()?);
    command.arg(DECODE).args(FRAMES.map(|name| folder.join(name)));
    Ok(command)
}

fn checking(folder: &Path, picture: bool) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_plateproof"));
    command.arg("check").arg(folder.join("shot.json")).arg("--out").arg(folder.join("reports"));
    if !picture {
        command.arg("--no-picture");
    }
    command
}

/// The yardstick: RGB of every file by the crate's own reader, which decompresses on all cores.
fn decode(paths: &[OsString]) -> std::result::Result<(), Box<dyn Error>> {
    for path in paths {
        let image = read()
            .no_deep_data()
            .largest_resolution_level()
            .rgb_channels(
                |size, _| (size.width(), vec![[0.0_f32; 3]; size.area()]),
                |(width, pixels), at, (r, g, b): (f32, f32, f32)| pixels[at.y() * *width + at.x()] = [r, g, b],
            )
            .first_valid_layer()
            .all_attributes()
            .from_file(path)?;
        std::hint::black_box(&image.layer_data.channel_data.pixels.1);
    }
    Ok(())
}

/// Plate, mirror frame and CG sphere with their sheet; left as they are where they exist.
fn make_frames(folder: &Path) -> std::result::Result<(), Box<dyn Error>> {
    if FRAMES.iter().all(|name| folder.join(name).exists()) {
        return Ok(());
    }
    let view = View::from_horizontal_fov(SIZE, 1.0, FOV_DEG, FovSource::Sheet);
    let sphere = MirrorSphere::at(&view, SPHERE_CENTRE_PX, SPHERE_RADIUS_PX, REFLECTANCE);
    let camera = |seed: u64| RenderOptions {
        samples: 2,
        blur_px: 0.55,
        noise: Some(Noise { seed, read: 0.0015, shot: 6e-5 }),
        ..RenderOptions::default()
    };
    let on_set = quay();
    let plate = render(&on_set, &view, SIZE, None, &camera(1));
    write(&folder.join(FRAMES[0]), &plate)?;
    let mirror = RenderOptions { stand: true, background_shift_px: [0.6, -0.4], ..camera(2) };
    write(&folder.join(FRAMES[1]), &render(&on_set, &view, SIZE, Some(&sphere), &mirror))?;
    let cg = RenderOptions {
        background: Background::Transparent,
        noise: Some(Noise { seed: 3, read: 0.0, shot: 2e-6 }),
        ..camera(3)
    };
    write(&folder.join(FRAMES[2]), &render(&on_set.turned(9.0), &view, SIZE, Some(&sphere), &cg))?;
    fs::write(folder.join("shot.json"), sheet())?;
    Ok(())
}

fn write(path: &Path, picture: &Picture) -> plateproof::Result<()> {
    let data = DataWindow { x: 0, y: 0, width: SIZE.width, height: SIZE.height };
    write_exr(path, SIZE, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default())
}

fn sheet() -> String {
    let sensor_mm = 24.0;
    let focal_length_mm = sensor_mm / (2.0 * (FOV_DEG.to_radians() / 2.0).tan());
    format!(
        r#"{{
  "format": "plateproof-shot/1",
  "shot": "SF_0990",
  "plate": "plate.exr",
  "mirrors": [ {{ "name": "m1", "bracket": ["mirror.exr"], "reflectance": [0.62, 0.60, 0.56] }} ],
  "cg": {{ "version": "v001", "spheres": [ {{ "mirror": "m1", "frame": "cg.exr" }} ] }},
  "camera": {{ "focal_length_mm": {focal_length_mm}, "sensor_mm": [{sensor_mm}, {}],
               "sensor_px": [4096, 2160], "used_px": [4096, 2160], "recorded_px": [4096, 2160] }}
}}
"#,
        sensor_mm * 2160.0 / 4096.0
    )
}

/// A quay under an overcast sky with two lamps and a cloth: texture everywhere, as on a real set.
fn quay() -> Scene {
    let light = |azimuth: f64, elevation: f64, radius: f64, kelvin: f64, luminance: f64| {
        DiscLight::new(azimuth, elevation, radius, black_body(kelvin).map(|c| c * luminance))
    };
    Scene::new(Backdrop::OpenAir(OpenAir {
        zenith: [0.30, 0.36, 0.46],
        horizon: [0.42, 0.40, 0.38],
        glow: [0.20, 0.15, 0.10],
        glow_towards: glow(),
        cloud: [0.32, 0.31, 0.33],
        sea: [0.05, 0.07, 0.08],
        deck: [0.16, 0.13, 0.10],
        blocks: Vec::new(),
        seed: 990,
    }))
    .with_panel(Panel::new(150.0, 20.0, [14.0, 9.0], 2.0, [0.9, 0.9, 0.95]))
    .with_light(light(-48.0, 34.0, 5.0, 4300.0, 60.0))
    .with_light(light(70.0, 25.0, 3.0, 3200.0, 40.0))
}

fn glow() -> Vector3<f64> {
    direction_of(200.0, 2.0)
}
