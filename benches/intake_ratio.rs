//! Time to open a 4096 × 2160 half-float ZIP OpenEXR file, against the `exr` crate's own RGB read of the same file.
//!
//! `cargo bench --bench intake_ratio` prints both and their ratio, for RGBA and for a file with 60 further channels.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

mod yardstick;

use std::path::Path;
use std::time::{Duration, Instant};

use exr::error::UnitResult;
use exr::prelude::*;
use half::f16;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};

const WIDTH: usize = 4096;
const HEIGHT: usize = 2160;
const RUNS: usize = 7;

fn main() -> UnitResult {
    let folder = tempfile::tempdir()?;
    for extra_channels in [0, 60] {
        let path = folder.path().join(format!("plate_{extra_channels}.exr"));
        write_plate(&path, extra_channels)?;
        let (ours, theirs) = best_of(|| ours(&path), || theirs(&path));
        let ratio = ours.as_secs_f64() / theirs.as_secs_f64();
        println!(
            "{} channels, {} MB: open {:.0} ms, exr crate {:.0} ms, ratio {ratio:.2}",
            4 + extra_channels,
            std::fs::metadata(&path)?.len() / 1_000_000,
            ours.as_secs_f64() * 1e3,
            theirs.as_secs_f64() * 1e3,
        );
    }
    Ok(())
}

/// The shortest of several runs of both, in turn: the machine is shared, and only interference makes a run longer.
fn best_of(mut first: impl FnMut() -> usize, mut second: impl FnMut() -> usize) -> (Duration, Duration) {
    let runs: Vec<(Duration, Duration)> = (0..RUNS).map(|_| (timed(&mut first), timed(&mut second))).collect();
    let shortest = |times: &mut dyn Iterator<Item = Duration>| times.min().unwrap_or_default();
    (shortest(&mut runs.iter().map(|r| r.0)), shortest(&mut runs.iter().map(|r| r.1)))
}

fn timed(run: &mut impl FnMut() -> usize) -> Duration {
    let start = Instant::now();
    assert_eq!(run(), WIDTH * HEIGHT);
    start.elapsed()
}

fn ours(path: &Path) -> usize {
    let limits = Limits::default();
    let request = OpenRequest { shown_as: "plate.exr", ..OpenRequest::of(path, "plate", &limits) };
    open(&request).map_or(0, |frame| frame.rgb.len())
}

fn theirs(path: &Path) -> usize {
    yardstick::decode_rgb(path).unwrap_or(0)
}

/// A smooth picture with grain in its last bits, so that it compresses like a photograph.
fn write_plate(path: &Path, extra_channels: usize) -> UnitResult {
    let plane =
        |seed: usize| FlatSamples::F16((0..WIDTH * HEIGHT).map(|i| sample(i % WIDTH, i / WIDTH, seed)).collect());
    let names = ["A", "B", "G", "R"].map(str::to_owned).into_iter();
    let names = names.chain((0..extra_channels).map(|i| format!("aov{i:03}.Z")));
    let channels = names.enumerate().map(|(seed, name)| AnyChannel::new(name.as_str(), plane(seed)));
    yardstick::write_half_zip(path, (WIDTH, HEIGHT), AnyChannels::sort(channels.collect()))
}

fn sample(x: usize, y: usize, seed: usize) -> f16 {
    let wave = (x as f32 * 0.003 + seed as f32).sin() * (y as f32 * 0.004).cos();
    let grain = ((x * 7919 + y * 104_729 + seed * 31).wrapping_mul(2_654_435_761) >> 16) % 64;
    f16::from_f32(0.3 + 0.2 * wave + grain as f32 * 2e-4)
}
