//! A whole show of 4096 × 2160 shots in one run of `check`, against a bare decode of the same files' RGB by the `exr`
//! crate one after the other, against itself on one core, and where a Python is given against the same work written with
//! numpy and OpenCV; and what a check costs by pixels and by shots.
//!
//! `cargo bench --bench whole_show` makes the frames once and lays the shots out with links to them, so that reading
//! costs no disk. `-- --shots N` sets the size of the show (100), `--write FOLDER` writes the plots there. The targets
//! are 1.15 times the decode, 1.8 times as fast on two cores as on one, and 5 times as fast as the Python.
//! `PLATEPROOF_BENCH_DIR` and `PLATEPROOF_BENCH_PYTHON` as in `whole_check`.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

#[path = "yardstick/frames.rs"]
mod frames;
#[path = "yardstick/process.rs"]
mod process;
mod yardstick;

use std::ffi::{OsStr, OsString};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use frames::{FRAMES, files_in, make_frames, sheet};
use plateproof::findings::Verdict;
use plateproof::image::Size;
use plateproof::report::picture::{Plot, PlotPanel, PlotPoint, render_plot};
use process::{Outcome, Run, decoding, has_decoded, measure, ms, python_output};

/// Frames of every size, and how often each is checked.
const SIZES: [(&str, Size, usize); 4] = [
    ("1k", Size { width: 1024, height: 540 }, 5),
    ("2k", Size { width: 2048, height: 1080 }, 5),
    ("4k", Size { width: 4096, height: 2160 }, 5),
    ("8k", Size { width: 8192, height: 4320 }, 3),
];
/// Of which size the show is.
const SHOW: usize = 2;
const SHOTS: usize = 100;
/// So many shots are done by the Python; it takes the same for each.
const PYTHON_SHOTS: usize = 5;

fn main() -> Outcome<()> {
    let arguments: Vec<OsString> = std::env::args_os().skip(1).collect();
    if has_decoded()? {
        return Ok(());
    }
    let after = |name: &str| arguments.iter().position(|a| a == name).and_then(|i| arguments.get(i + 1));
    let shots = after("--shots").and_then(|n| n.to_str()?.parse().ok()).unwrap_or(SHOTS);
    let temporary = tempfile::tempdir()?;
    let root = std::env::var_os("PLATEPROOF_BENCH_DIR").map_or_else(|| temporary.path().to_owned(), PathBuf::from);
    let by_pixels = by_pixels(&root)?;
    let by_shots = by_shots(&root.join(SIZES[SHOW].0), temporary.path(), shots)?;
    if let Some(folder) = after("--write").map(PathBuf::from) {
        fs::create_dir_all(&folder)?;
        fs::write(folder.join("by_pixels.png"), render_plot(&by_pixels)?)?;
        fs::write(folder.join("by_shots.png"), render_plot(&by_shots)?)?;
    }
    println!("load of the machine (1, 5, 15 min): {}", fs::read_to_string("/proc/loadavg").unwrap_or_default().trim());
    Ok(())
}

/// What one check and one decode take at every size.
fn by_pixels(root: &Path) -> Outcome<Plot> {
    let (mut checks, mut decodes) = (Vec::new(), Vec::new());
    for (name, size, runs) in SIZES {
        let folder = root.join(name);
        fs::create_dir_all(&folder)?;
        make_frames(&folder, size)?;
        let megapixels = FRAMES.len() as f64 * (size.width * size.height) as f64 * 1e-6;
        let out = folder.join("reports_again");
        let decode = shortest(runs, || Ok(decoding(files_in(&folder))?))?;
        let check = shortest(runs, || Ok(checking(&folder.join("shot.json"), &out)))?;
        println!(
            "{name}, {megapixels:.1} Mpx: decode {:.0} ms, check {:.0} ms = {:.2} times",
            ms(decode.wall),
            ms(check.wall),
            check.wall.as_secs_f64() / decode.wall.as_secs_f64()
        );
        checks.push((megapixels.round(), ms(check.wall)));
        decodes.push((megapixels.round(), ms(decode.wall)));
    }
    Ok(plot("cost by pixels", "pixels of the three frames, millions", "ms", [checks, decodes]))
}

/// What shows of growing length take.
fn by_shots(frames: &Path, work: &Path, shots: usize) -> Outcome<Plot> {
    let folders = lay_out(frames, &work.join("shots"), shots)?;
    let (mut checks, mut decodes) = (Vec::new(), Vec::new());
    let mut lengths: Vec<usize> = [1, 10, 30].into_iter().filter(|count| *count < shots).collect();
    lengths.push(shots);
    for count in lengths {
        let part = work.join(format!("first_{count}"));
        let folders = lay_out(frames, &part, count)?;
        let decode = shortest(2, || Ok(decoding(folders.iter().flat_map(|folder| files_in(folder)))?))?;
        let check = shortest(2, || Ok(checking(&part, &work.join("reports"))))?;
        println!(
            "{count} shots: decode {:.2} s, check {:.2} s wall, {:.2} s processor = {:.2} times (target 1.15), {:.0} MB at most",
            decode.wall.as_secs_f64(),
            check.wall.as_secs_f64(),
            check.processor.as_secs_f64(),
            check.wall.as_secs_f64() / decode.wall.as_secs_f64(),
            check.peak_bytes as f64 / 1e6
        );
        checks.push((count as f64, check.wall.as_secs_f64()));
        decodes.push((count as f64, decode.wall.as_secs_f64()));
    }
    let all_cores = checks.last().map_or(f64::NAN, |last| last.1);
    let one_core = shortest(1, || {
        let mut command = checking(&work.join("shots"), &work.join("reports"));
        command.args(["--jobs", "1"]).env("RAYON_NUM_THREADS", "1");
        Ok(command)
    })?;
    println!(
        "{shots} shots on one core: {:.2} s, {:.2} times as long as on all {} (target 1.8 on two)",
        one_core.wall.as_secs_f64(),
        one_core.wall.as_secs_f64() / all_cores,
        std::thread::available_parallelism()?
    );
    if let Some(python) = std::env::var_os("PLATEPROOF_BENCH_PYTHON") {
        let seconds = python_seconds(&python, &folders[0])?;
        println!(
            "the same work with numpy and OpenCV: {:.2} s a shot, {:.2} times as long as check in a show (target 5)",
            seconds,
            seconds * shots as f64 / all_cores
        );
    }
    Ok(plot("cost by shots", "shots of 4096 x 2160 in one run", "s", [checks, decodes]))
}

/// Shots with names of their own and links to the same frames.
fn lay_out(frames: &Path, root: &Path, shots: usize) -> Outcome<Vec<PathBuf>> {
    let mut folders = Vec::new();
    for number in 0..shots {
        let folder = root.join(format!("{number:03}"));
        fs::create_dir_all(&folder)?;
        for frame in FRAMES {
            let link = folder.join(frame);
            if !link.exists() {
                std::os::unix::fs::symlink(frames.join(frame), link)?;
            }
        }
        fs::write(folder.join("shot.json"), sheet(&format!("SF_{number:04}"), SIZES[SHOW].1))?;
        folders.push(folder);
    }
    Ok(folders)
}

/// The run with the shortest wall time.
fn shortest(runs: usize, command: impl Fn() -> Outcome<Command>) -> Outcome<Run> {
    let runs: Vec<Run> = (0..runs).map(|_| measure(&mut command()?)).collect::<Outcome<_>>()?;
    runs.into_iter().min_by_key(|run| run.wall).ok_or_else(|| "nothing was run".into())
}

fn checking(shots: &Path, out: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_plateproof"));
    command.arg("check").arg(shots).arg("--out").arg(out).args(["--no-picture", "--again"]);
    command
}

/// Seconds that the Python needs for one shot, its start left out.
fn python_seconds(python: &OsStr, folder: &Path) -> Outcome<f64> {
    let count = PYTHON_SHOTS.to_string();
    Ok(python_output(python, &["seconds", &count], &files_in(folder))?.trim().parse()?)
}

/// Rings for the check, squares for the decode.
fn plot(title: &str, across: &str, unit: &str, [check, decode]: [Vec<(f64, f64)>; 2]) -> Plot {
    let points = |curve: Vec<(f64, f64)>, verdict: Verdict| {
        curve.into_iter().map(move |(across, value)| PlotPoint { across, value, sd: 0.0, verdict })
    };
    let panel = PlotPanel {
        heading: "check (rings), bare decode (squares)".to_owned(),
        unit: unit.to_owned(),
        errors: false,
        tolerance: 0.0,
        points: points(check, Verdict::Match).chain(points(decode, Verdict::Mismatch)).collect(),
        without: Vec::new(),
    };
    Plot { title: title.to_owned(), across: across.to_owned(), logarithmic: true, panels: vec![panel] }
}
