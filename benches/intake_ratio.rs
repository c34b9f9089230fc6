//! Time to open a 4096 × 2160 half-float ZIP OpenEXR file, against the `exr` crate's own RGB read of the same file, and a 10-bit DPX
//! file of that size, against reading it whole and unpacking its codes to floats on all cores.
//!
//! `cargo bench --bench intake_ratio` prints both and their ratio: for RGBA, for a file with 60 further channels, and for DPX.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

mod yardstick;

use std::path::Path;
use std::time::{Duration, Instant};

use exr::error::UnitResult;
use exr::prelude::*;
use half::f16;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};
use rayon::prelude::*;

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
    dpx(folder.path())?;
    Ok(())
}

fn dpx(folder: &Path) -> UnitResult {
    let path = folder.join("plate.dpx");
    write_dpx(&path)?;
    let (ours, plain) = best_of(|| ours(&path), || read_and_unpack(&path));
    println!(
        "10-bit DPX, {} MB: open {:.0} ms, read and unpack {:.0} ms, ratio {:.2}",
        std::fs::metadata(&path)?.len() / 1_000_000,
        ours.as_secs_f64() * 1e3,
        plain.as_secs_f64() * 1e3,
        ours.as_secs_f64() / plain.as_secs_f64(),
    );
    Ok(())
}

/// What any reader has to do: the bytes into memory, three codes out of each word, each to a float by a table.
fn read_and_unpack(path: &Path) -> usize {
    let bytes = std::fs::read(path).unwrap_or_default();
    let light: Vec<f32> = (0..1024).map(|code| code as f32 / 1023.0).collect();
    let words = bytes.get(DPX_HEADER_BYTES..).unwrap_or_default();
    let mut pixels = vec![[0.0_f32; 3]; words.len() / 4];
    pixels.par_chunks_mut(WIDTH).zip(words.par_chunks(4 * WIDTH)).for_each(|(row, words)| {
        for (pixel, word) in row.iter_mut().zip(words.chunks_exact(4)) {
            let word = u32::from_be_bytes([word[0], word[1], word[2], word[3]]);
            *pixel = [22, 12, 2].map(|shift| light[(word >> shift) as usize & 1023]);
        }
    });
    pixels.len()
}

const DPX_HEADER_BYTES: usize = 2048;

/// SMPTE ST 268-1: RGB at 10 bits, three codes in a word of 32 bits (method A), linear.
fn write_dpx(path: &Path) -> UnitResult {
    let mut bytes = vec![0; DPX_HEADER_BYTES];
    let mut put = |at: usize, value: &[u8]| bytes[at..at + value.len()].copy_from_slice(value);
    put(0, b"SDPX");
    put(4, &(DPX_HEADER_BYTES as u32).to_be_bytes());
    put(8, b"V2.0");
    put(16, &((DPX_HEADER_BYTES + 4 * WIDTH * HEIGHT) as u32).to_be_bytes());
    put(770, &1_u16.to_be_bytes());
    put(772, &(WIDTH as u32).to_be_bytes());
    put(776, &(HEIGHT as u32).to_be_bytes());
    // Descriptor RGB, transfer linear, colorimetric BT.709, 10 bits, filled words, not coded; where the picture begins.
    put(800, &[50, 2, 6, 10, 0, 1, 0, 0]);
    put(808, &(DPX_HEADER_BYTES as u32).to_be_bytes());
    for (x, y) in (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| (x, y))) {
        let code = |seed: usize| (sample(x, y, seed).to_f32() * 1023.0) as u32;
        bytes.extend((code(0) << 22 | code(1) << 12 | code(2) << 2).to_be_bytes());
    }
    std::fs::write(path, bytes)?;
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
