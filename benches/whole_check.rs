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

#[path = "yardstick/frames.rs"]
mod frames;
#[path = "yardstick/process.rs"]
mod process;
mod yardstick;

use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use frames::{FRAMES, files_in, make_frames};
use plateproof::image::Size;
use process::{Outcome, Run, decoding, has_decoded, measure, ms, python_output};

/// Name of the size, pixels, how often each program runs.
const SIZES: [(&str, Size, usize); 2] =
    [("4k", Size { width: 4096, height: 2160 }, 7), ("8k", Size { width: 8192, height: 4320 }, 3)];

fn main() -> Outcome<()> {
    if has_decoded()? {
        return Ok(());
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
        bare.push(measure(&mut decoding(files_in(folder))?)?);
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
        let shortest = |of: fn(&Read) -> Duration| read.iter().map(of).min().unwrap_or_default();
        let (reading, process) = (shortest(|r| r.reading), shortest(|r| r.process));
        let ratio = |of: Duration| check.wall.as_secs_f64() / of.as_secs_f64();
        println!(
            "  read by the OpenEXR Python package: {:.0} ms without its start, check takes {:.2} times (target 1.0); {:.0} ms as a process, {:.2} times",
            ms(reading),
            ratio(reading),
            ms(process),
            ratio(process)
        );
        print!("{}", python_output(python, &["check"], &files_in(folder))?);
    }
    Ok(check.wall)
}

fn bytes_of(folder: &Path) -> std::io::Result<u64> {
    FRAMES.iter().map(|name| Ok(fs::metadata(folder.join(name))?.len())).sum()
}

/// What a full read of the frames takes in Python.
struct Read {
    /// Inside the process, once numpy and OpenEXR are there.
    reading: Duration,
    /// From outside.
    process: Duration,
}

fn python_read(python: &OsString, folder: &Path) -> Outcome<Read> {
    let start = Instant::now();
    let output = python_output(python, &["read"], &files_in(folder))?;
    let process = start.elapsed();
    let seconds: f64 = output.trim().parse()?;
    Ok(Read { reading: Duration::from_secs_f64(seconds), process })
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

fn checking(folder: &Path, picture: bool) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_plateproof"));
    command.arg("check").arg(folder.join("shot.json")).arg("--out").arg(folder.join("reports"));
    if !picture {
        command.arg("--no-picture");
    }
    command
}
