//! Lens distortion of rendered grids with known truth.

#![allow(clippy::print_stderr, reason = "shows the measured errors with --nocapture")]

use super::*;
use crate::Estimate;
use crate::register::test_scene::{Random, frame, with_noise};

const SIZE: [usize; 2] = [960, 540];

fn size() -> [f64; 2] {
    SIZE.map(|s| s as f64)
}

fn lens(model: DistortionModel, k1: f64, k2: f64) -> Distortion {
    Distortion { model, k1, k2, ..Distortion::none(size()) }
}

/// A card of dark lines `pitch` apart, seen a little from the side, through a lens.
fn grid(lens: &Distortion, pitch: f64, noise: f64) -> Frame {
    let value = |x: f64, y: f64| {
        let [u, v] = lens.straightened([x, y]);
        let (u, v) = (u - 470.0, v - 260.0);
        let depth = 1.0 + 1.5e-4 * u - 1e-4 * v;
        let line = |c: f64| {
            let off = (c / pitch - (c / pitch).round()).abs() * pitch;
            1.0 / (1.0 + ((2.5 - off) / 0.6).exp())
        };
        let ink = line((u + 0.03 * v) / depth) * line((v - 0.03 * u) / depth);
        [0.05 + 0.6 * ink; 3]
    };
    with_noise(frame(SIZE, value), 3, noise)
}

fn fitted(picture: &Frame) -> LensFit {
    fit_lens(&long_edges(picture), size()).unwrap()
}

fn covers(what: &str, found: Estimate, truth: f64) {
    assert!((found.value - truth).abs() < 4.0 * found.sd.max(0.02), "{what}: {found:?}, truth {truth}");
}

#[test]
fn both_forms_are_found_by_straightness_alone() {
    for truth in [
        lens(DistortionModel::Polynomial, -0.06, 0.0),
        lens(DistortionModel::Polynomial, 0.08, -0.03),
        lens(DistortionModel::Division, -0.09, 0.0),
        lens(DistortionModel::Polynomial, 0.004, 0.0),
    ] {
        let fit = fitted(&grid(&truth, 80.0, 0.004));
        let want = truth.corner_pull_px(size());
        eprintln!(
            "{:?} {} {}: {} edges, residual {:.3} px of {:.3}, pull {:.2} ± {:.2} px of {want:.2}, model {:?}",
            truth.model,
            truth.k1,
            truth.k2,
            fit.edges,
            fit.residual_px,
            fit.bent_px,
            fit.pull_px.value,
            fit.pull_px.sd,
            fit.distortion.model
        );
        assert!(fit.residual_px < 0.1, "{}", fit.residual_px);
        assert!((fit.pull_px.value - want).abs() < 0.5, "{:?} {want}", fit.pull_px);
        covers("pull", fit.pull_px, want);
        covers("percent", fit.pull_percent, truth.corner_pull_percent(size()));
    }
}

#[test]
fn a_lens_without_distortion_is_left_alone() {
    let fit = fitted(&grid(&Distortion::none(size()), 80.0, 0.004));
    assert!(fit.pull_px.value.abs() < 0.2, "{:?}", fit.pull_px);
}

#[test]
fn few_lines_and_lines_through_the_centre_are_refused() {
    let plain = with_noise(frame(SIZE, |_, _| [0.4; 3]), 1, 0.01);
    assert!(matches!(fit_lens(&long_edges(&plain), size()), Err(NoLensFit::TooFew(_))));
    let star = frame(SIZE, |x, y| {
        let (u, v) = (x - 480.0, y - 270.0);
        let spoke = |a: f64| (u * a.sin() - v * a.cos()).abs();
        let near = [0.2, 0.9, 1.6, 2.3, 3.0].map(spoke).into_iter().fold(f64::INFINITY, f64::min);
        [0.05 + 0.6 / (1.0 + ((2.5 - near) / 0.6).exp()); 3]
    });
    let refused = fit_lens(&long_edges(&star), size());
    assert!(matches!(refused, Err(NoLensFit::AllThroughCentre(_))), "{refused:?}");
}

#[test]
fn a_picture_without_straight_things_is_refused_or_wide() {
    let mut random = Random::new(8);
    let blobs: Vec<[f64; 3]> =
        (0..60).map(|_| [960.0 * random.uniform(), 540.0 * random.uniform(), 15.0 + 60.0 * random.uniform()]).collect();
    let picture = frame(SIZE, |x, y| {
        let inside = blobs.iter().filter(|[u, v, r]| (x - u).hypot(y - v) < *r).count();
        [0.1 + 0.1 * (inside % 5) as f64; 3]
    });
    match fit_lens(&long_edges(&picture), size()) {
        Err(_) => {}
        Ok(fit) => assert!(fit.pull_px.sd > 5.0, "{fit:?}"),
    }
}
