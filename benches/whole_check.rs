//! The whole of `check` on three half-float ZIP OpenEXR frames, against a bare decode of the same files' RGB by the `exr`
//! crate, one after another, and where a Python is given against a full read by the OpenEXR Python package.
//!
//! `cargo bench --bench whole_check` makes the frames at 4096 × 2160 and 8192 × 4320, runs everything as processes of
//! their own in turn, and prints the shortest wall and processor times, their ratios and the largest resident memory:
//! the machine may be shared, and only interference makes a run longer. The targets are 1.25 times the decode without
//! and 2.0 times with the picture, 1.0 times the Python read, and 1.5 GB.
//!
//! Where `PLATEPROOF_BENCH_DIR` names a folder, the frames are made there once and kept. Where `PLATEPROOF_BENCH_PYTHON`
//! names an interpreter with numpy, OpenCV and OpenEXR, `benches/python_peer.py` runs beside.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

mod yardstick;

use std::error::Error;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use nalgebra::Vector3;
use plateproof::camera::{FovSource, View};
use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::{Backdrop, DiscLight, Panel, Scene, black_body, direction_of};
use plateproof::demo::{Noise, OpenAir};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};

/// Name of the size, pixels, how often each program runs.
const SIZES: [(&str, Size, usize); 2] =
    [("4k", Size { width: 4096, height: 2160 }, 7), ("8k", Size { width: 8192, height: 4320 }, 3)];
const FOV_DEG: f64 = 42.0;
/// Centre and radius of the sphere as fractions of the frame's width.
const SPHERE_CENTRE: [f64; 2] = [0.564, 0.2905];
const SPHERE_RADIUS: f64 = 0.0732;
const REFLECTANCE: [f64; 3] = [0.62, 0.60, 0.56];
const FRAMES: [&str; 3] = ["plate.exr", "mirror.exr", "cg.exr"];
const PYTHON_PEER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/python_peer.py");

/// With this argument the bench is the decoding process.
const DECODE: &str = "--only-decode";

type Outcome<T> = Result<T, Box<dyn Error>>;

fn main() -> Outcome<()> {
    let arguments: Vec<OsString> = std::env::args_os().skip(1).collect();
    if arguments.first().is_some_and(|first| first == DECODE) {
        return decode(&arguments[1..]);
    }
    let temporary = tempfile::tempdir()?;
    let root = std::env::var_os("PLATEPROOF_BENCH_DIR").map_or_else(|| temporary.path().to_owned(), PathBuf::from);
    let mut costs = Vec::new();
    for (name, size, runs) in SIZES {
        let folder = root.join(name);
        fs::create_dir_all(&folder)?;
        make_frames(&folder, size)?;
        println!("{} x {}, three frames, {} MB:", size.width, size.height, bytes_of(&folder)? / 1_000_000);
        costs.push((size, compare(&folder, runs)?));
    }
    for (size, wall) in costs {
        let megapixels = 3.0 * (size.width * size.height) as f64 * 1e-6;
        println!("cost of check: {:.0} ms for {megapixels:.0} Mpx, {:.1} ms per Mpx", ms(wall), ms(wall) / megapixels);
    }
    println!("load of the machine (1, 5, 15 min): {}", fs::read_to_string("/proc/loadavg").unwrap_or_default().trim());
    Ok(())
}

/// Runs every program in turn, prints what each took and gives the wall time of the check without picture.
fn compare(folder: &Path, runs: usize) -> Outcome<Duration> {
    let python = std::env::var_os("PLATEPROOF_BENCH_PYTHON");
    let (mut bare, mut plain, mut picture, mut read) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..runs {
        bare.push(measure(&mut decoding(folder)?)?);
        plain.push(measure(&mut checking(folder, false))?);
        picture.push(measure(&mut checking(folder, true))?);
        if let Some(python) = &python {
            read.push(python_read(python, folder)?);
        }
    }
    let base = summary("  decode by the exr crate", &bare, None);
    let check = summary("  check, text and JSON", &plain, Some((&base, 1.25)));
    summary("  check with picture", &picture, Some((&base, 2.0)));
    if let Some(python) = &python {
        let shortest = read.into_iter().min().unwrap_or_default();
        let ratio = check.wall.as_secs_f64() / shortest.as_secs_f64();
        println!(
            "  read by the OpenEXR Python package, without its start: {:.0} ms; check takes {ratio:.2} times (target 1.0)",
            ms(shortest)
        );
        print!("{}", python_output(python, "check", folder)?);
    }
    Ok(check.wall)
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn bytes_of(folder: &Path) -> std::io::Result<u64> {
    FRAMES.iter().map(|name| Ok(fs::metadata(folder.join(name))?.len())).sum()
}

/// Seconds that a full read of the frames takes inside the Python process.
fn python_read(python: &OsString, folder: &Path) -> Outcome<Duration> {
    let output = python_output(python, "read", folder)?;
    let seconds: f64 = output.trim().parse()?;
    Ok(Duration::from_secs_f64(seconds))
}

fn python_output(python: &OsString, what: &str, folder: &Path) -> Outcome<String> {
    let files = FRAMES.map(|name| folder.join(name));
    let output = Command::new(python).arg(PYTHON_PEER).arg(what).args(files).stderr(Stdio::inherit()).output()?;
    if !output.status.success() {
        return Err(format!("{PYTHON_PEER} ended with {}", output.status).into());
    }
    Ok(String::from_utf8(output.stdout)?)
}

/// Prints the shortest of one kind of run, against the bare decode where given.
fn summary(what: &str, runs: &[Run], against: Option<(&Run, f64)>) -> Run {
    let shortest = |of: fn(&Run) -> Duration| runs.iter().map(of).min().unwrap_or_default();
    let best = Run {
        wall: shortest(|r| r.wall),
        processor: shortest(|r| r.processor),
        peak_bytes: runs.iter().map(|r| r.peak_bytes).max().unwrap_or(0),
    };
    let ratios = against.map_or_else(String::new, |(base, target)| {
        let ratio = |a: Duration, b: Duration| a.as_secs_f64() / b.as_secs_f64();
        let (wall, processor) = (ratio(best.wall, base.wall), ratio(best.processor, base.processor));
        format!(", {wall:.2} times the decode (target {target}; {processor:.2} of processor time)")
    });
    println!(
        "{what}: {:.0} ms wall, {:.0} ms processor, {:.0} MB at most{ratios}",
        ms(best.wall),
        ms(best.processor),
        best.peak_bytes as f64 / 1e6,
    );
    best
}

/// What one process took.
struct Run {
    wall: Duration,
    processor: Duration,
    peak_bytes: u64,
}

/// Runs a process to its end, asking for its memory all the while. A check may end with status 1 (mismatch) or 3.
fn measure(command: &mut Command) -> Outcome<Run> {
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

fn decode(paths: &[OsString]) -> Outcome<()> {
    for path in paths {
        yardstick::decode_rgb(Path::new(path))?;
    }
    Ok(())
}

/// Plate, mirror frame and CG sphere with their sheet; left as they are where they exist.
fn make_frames(folder: &Path, size: Size) -> Outcome<()> {
    if FRAMES.iter().all(|name| folder.join(name).exists()) {
        return Ok(());
    }
    let view = View::from_horizontal_fov(size, 1.0, FOV_DEG, FovSource::Sheet);
    let width = size.width as f64;
    let sphere = MirrorSphere::at(&view, SPHERE_CENTRE.map(|c| c * width), SPHERE_RADIUS * width, REFLECTANCE);
    let camera = |seed: u64| RenderOptions {
        samples: 2,
        blur_px: 0.55,
        noise: Some(Noise { seed, read: 0.0015, shot: 6e-5 }),
        ..RenderOptions::default()
    };
    let on_set = quay();
    let plate = render(&on_set, &view, size, None, &camera(1));
    write(&folder.join(FRAMES[0]), size, &plate)?;
    let mirror = RenderOptions { stand: true, background_shift_px: [0.6, -0.4], ..camera(2) };
    write(&folder.join(FRAMES[1]), size, &render(&on_set, &view, size, Some(&sphere), &mirror))?;
    let cg = RenderOptions {
        background: Background::Transparent,
        noise: Some(Noise { seed: 3, read: 0.0, shot: 2e-6 }),
        ..camera(3)
    };
    write(&folder.join(FRAMES[2]), size, &render(&on_set.turned(9.0), &view, size, Some(&sphere), &cg))?;
    fs::write(folder.join("shot.json"), sheet(size))?;
    Ok(())
}

fn write(path: &Path, size: Size, picture: &Picture) -> plateproof::Result<()> {
    let data = DataWindow { x: 0, y: 0, width: size.width, height: size.height };
    write_exr(path, size, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default())
}

fn sheet(size: Size) -> String {
    let [width, height] = [size.width, size.height];
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
               "sensor_px": [{width}, {height}], "used_px": [{width}, {height}], "recorded_px": [{width}, {height}] }}
}}
"#,
        sensor_mm * height as f64 / width as f64
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
