//! Environments photographed on real sets, put through a camera on a hand-held pole: three JPEG exposures with a tone curve, noise and
//! two degrees of sway. What is merged from them is held against the environment itself.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

use std::f64::consts::PI;
use std::path::{Path, PathBuf};

use image::{ImageBuffer, Rgb};
use nalgebra::{Rotation3, Vector3};
use plateproof::Stops;
use plateproof::image::Frame;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};
use plateproof::light::environment::{Convention, direction};
use plateproof::register::bracket::BracketFrame;
use plateproof::register::panorama::{merge_panorama, turn_between};

use crate::sphere_scene::load::reference_data;

/// Columns of the camera's pictures.
const COLUMNS: usize = 1024;
/// Exposures in stops about a middle one that puts the environment's median at this code value.
const STOPS: [f64; 3] = [-4.0, -1.0, 2.0];
const MEDIAN_LIGHT: f64 = 0.06;
/// Asked of the merge where nothing clips.
const LIGHT_STOPS: f64 = 0.05;
const DIRECTION_DEG: f64 = 0.2;

fn opened(path: &Path) -> Frame {
    let limits = Limits::default();
    let request = OpenRequest { shown_as: "environment", ..OpenRequest::of(path, "environment", &limits) };
    open(&request).unwrap()
}

/// The environment's light from a direction.
fn seen(frame: &Frame, d: &Vector3<f64>) -> [f64; 3] {
    let size = [frame.data.width, frame.data.height];
    let [x, y] = Convention::PixelPatches.point(d, size);
    let (column, row) = (x.floor(), y.floor());
    let mut sum = [0.0; 3];
    for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
        let weight = (1.0 - (x - column - dx).abs()) * (1.0 - (y - row - dy).abs());
        let at_column = (column + dx).rem_euclid(size[0] as f64) as usize;
        let at_row = (row + dy).clamp(0.0, size[1] as f64 - 1.0) as usize;
        let rgb = frame.rgb[at_row * size[0] + at_column];
        (0..3).for_each(|c| sum[c] += weight * f64::from(rgb[c].max(0.0)));
    }
    sum
}

/// A camera's curve: a shoulder, and the power of the display (of no real camera).
fn tone(light: f64) -> f64 {
    let shoulder = 1.25 * light / (light + 0.25);
    shoulder.min(1.0).powf(1.0 / 2.1)
}

/// Numbers that are the same on every run (xorshift64*; Vigna, ACM TOMS 42, 2016).
struct Dice(u64);

impl Dice {
    /// Nearly normal with variance 1.
    fn roll(&mut self) -> f64 {
        let mut sum = 0.0;
        for _ in 0..12 {
            self.0 ^= self.0 >> 12;
            self.0 ^= self.0 << 25;
            self.0 ^= self.0 >> 27;
            sum += (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum - 6.0
    }
}

fn photograph(light: &Frame, gain: f64, turn: &Rotation3<f64>, path: &Path, dice: &mut Dice) {
    let size = [COLUMNS, COLUMNS / 2];
    let back = turn.inverse();
    let picture = ImageBuffer::from_fn(size[0] as u32, size[1] as u32, |x, y| {
        let [lon, lat] = Convention::PixelPatches.longitude_latitude([f64::from(x), f64::from(y)], size);
        let rgb = seen(light, &(back * direction(lon, lat)));
        Rgb(rgb.map(|value| {
            let exposed = gain * value;
            // Shot noise, and noise of reading.
            let noisy = exposed + dice.roll() * (2e-5 * exposed + 1e-7).sqrt();
            (255.0 * tone(noisy.max(0.0))).round() as u8
        }))
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 95);
    picture.write_with_encoder(encoder).unwrap();
    std::fs::write(path, bytes.into_inner()).unwrap();
}

/// Three angles about the axes, deg.
const SWAY_DEG: [[f64; 3]; 3] = [[1.4, -0.9, 1.1], [0.0; 3], [-0.8, 1.7, -0.6]];

#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
#[test]
fn real_environments_come_back_from_a_swaying_bracket() {
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(0x5a17_fe44_2031_0304);
    for name in ["hall.exr", "apartment.exr", "esplanade.exr"] {
        let truth = opened(&reference_data().join("real_environments").join(name));
        let mut levels: Vec<f64> =
            truth.rgb.iter().step_by(31).map(|rgb| f64::from(rgb[1])).filter(|v| *v > 0.0).collect();
        levels.sort_by(f64::total_cmp);
        let middle = MEDIAN_LIGHT / levels[levels.len() / 2];
        let mut frames = Vec::new();
        for (i, (stops, sway)) in STOPS.into_iter().zip(SWAY_DEG).enumerate() {
            let path: PathBuf = folder.path().join(format!("{i}_{name}.jpg"));
            let turn = Rotation3::new(Vector3::from(sway).map(f64::to_radians));
            photograph(&truth, middle * stops.exp2(), &turn, &path, &mut dice);
            frames.push(BracketFrame { frame: opened(&path), stops: Stops(stops) });
        }
        let merged = merge_panorama(frames).unwrap();
        let turn = turn_between(&truth, &merged.frame).expect("merged and true environment show the same");
        let turned_deg = turn.rotation.angle().to_degrees();
        let errors = errors(&truth, &merged.frame);
        let at = |part: f64| errors[(part * (errors.len() - 1) as f64) as usize];
        println!(
            "{name}: turned by {turned_deg:.3} deg; light off by {:.3} (half), {:.3} (nine tenths) stops of {} places",
            at(0.5),
            at(0.9),
            errors.len()
        );
        assert!(turned_deg < DIRECTION_DEG, "{name}: {turned_deg} deg, {:?}", merged.warnings);
        assert!(at(0.5) < LIGHT_STOPS / 2.0, "{name}: {} stops, {:?}", at(0.5), merged.warnings);
        assert!(at(0.9) < 1.1 * LIGHT_STOPS, "{name}: {} stops, {:?}", at(0.9), merged.warnings);
    }
}

/// Absolute errors of places 3 deg across that are nowhere clipped nor lost in the dark, in stops, sorted. One common
/// factor is free: a tone curve tells no absolute light.
fn errors(truth: &Frame, merged: &Frame) -> Vec<f64> {
    let clip = merged.clip_level.unwrap_or([f32::INFINITY; 3]);
    let mut ratios = Vec::new();
    for row in 0..60 {
        for column in 0..120 {
            let (mut sums, mut usable) = ([0.0; 2], true);
            for (dx, dy) in (0..36).map(|i| (i % 6, i / 6)) {
                let lon = (f64::from(column) + (f64::from(dx) + 0.5) / 6.0) / 120.0 * 2.0 * PI - PI;
                let lat = PI / 2.0 - (f64::from(row) + (f64::from(dy) + 0.5) / 6.0) / 60.0 * PI;
                let d = direction(lon, lat);
                let (a, b) = (seen(truth, &d), seen(merged, &d));
                usable &= (0..3).all(|c| b[c].is_finite() && b[c] < 0.8 * f64::from(clip[c]));
                sums = [sums[0] + a[1], sums[1] + b[1]];
            }
            if usable && sums[0] > 0.0 && sums[1] > 0.0 {
                ratios.push((sums[1] / sums[0]).log2());
            }
        }
    }
    ratios.sort_by(f64::total_cmp);
    let common = ratios[ratios.len() / 2];
    let mut errors: Vec<f64> = ratios.iter().map(|ratio| (ratio - common).abs()).collect();
    errors.sort_by(f64::total_cmp);
    errors
}
