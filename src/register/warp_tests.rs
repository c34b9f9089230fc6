//! Projective maps against known truth.

#![allow(clippy::print_stderr, reason = "shows the measured errors with --nocapture")]

use super::test_scene::{Random, Texture};
use super::*;

/// The anchor of translation, held for every point of the picture.
const ANCHOR_PX: f64 = 0.05;

/// The pair of pictures that a map of truth relates, each evaluated from the formula.
fn pair(texture: &Texture, truth: &Warp, size: [usize; 2], noise: f64) -> (Plane, Plane) {
    let inverse = nalgebra::Matrix3::from_fn(|r, c| truth.matrix_px()[r][c]).try_inverse().unwrap();
    let mut random = Random::new(5);
    let mut picture = |place: &dyn Fn(f64, f64) -> [f64; 2]| {
        let value = |i: usize| {
            let [x, y] = place((i % size[0]) as f64 + 0.5, (i / size[0]) as f64 + 0.5);
            (0.5 + texture.at(x, y) + noise * random.normal()) as f32
        };
        Plane::new(size[0], size[1], (0..size[0] * size[1]).map(value).collect()).unwrap()
    };
    let fixed = picture(&|x, y| [x, y]);
    let moving = picture(&|x, y| {
        let p = inverse * nalgebra::Vector3::new(x, y, 1.0);
        [p.x / p.z, p.y / p.z]
    });
    (fixed, moving)
}

fn worst_error(found: &Registration, truth: &Warp, size: [usize; 2]) -> f64 {
    warp::places(size.map(|s| s as f64))
        .iter()
        .map(|p| {
            let (a, b) = (found.warp.apply(*p), truth.apply(*p));
            (a[0] - b[0]).hypot(a[1] - b[1])
        })
        .fold(0.0, f64::max)
}

fn size_f64(size: [usize; 2]) -> [f64; 2] {
    size.map(|s| s as f64)
}

#[test]
fn each_model_is_found_where_it_is_true_and_no_fuller_one() {
    let size = [640, 400];
    for (seed, noise) in [(3, 0.0), (4, 0.01), (5, 0.03)] {
        let texture = Texture::new(seed, 10.0, 80.0, 0.12);
        let mut homography = Warp::similarity(size_f64(size), [2.2, -1.4], 0.004, 1.004);
        (homography.parameters[6], homography.parameters[7]) = (0.004, -0.003);
        for (model, truth) in [
            (WarpModel::Translation, Warp::shift(size_f64(size), [3.37, -1.62])),
            (WarpModel::Similarity, Warp::similarity(size_f64(size), [-2.1, 4.3], 0.6_f64.to_radians(), 1.008)),
            (WarpModel::Homography, homography),
        ] {
            let (fixed, moving) = pair(&texture, &truth, size, noise);
            let found = register_warp(&fixed, &moving).unwrap();
            let error = worst_error(&found, &truth, size);
            eprintln!("{model:?} noise {noise}: {:?}, worst {error:.4} px", found.model);
            assert_eq!(found.model, model, "noise {noise}");
            assert!(error < ANCHOR_PX * if noise > 0.02 { 2.0 } else { 1.0 }, "{model:?}: {error}");
        }
    }
}

#[test]
fn a_camera_that_rolled_and_zoomed_far_is_found() {
    let size = [640, 400];
    let texture = Texture::new(9, 10.0, 80.0, 0.12);
    for (roll, zoom) in [(3.0_f64, 1.0), (-5.0, 1.0), (0.0, 1.06), (2.0, 0.95)] {
        let truth = Warp::similarity(size_f64(size), [12.0, -7.0], roll.to_radians(), zoom);
        let (fixed, moving) = pair(&texture, &truth, size, 0.005);
        let found = register_warp(&fixed, &moving).unwrap();
        let error = worst_error(&found, &truth, size);
        assert!(error < ANCHOR_PX, "{roll} {zoom}: {error}");
        assert!((found.roll_deg().value - roll).abs() < 0.01, "{:?}", found.roll_deg());
    }
}

#[test]
fn a_crowd_on_a_third_of_the_frame_does_not_pull() {
    let size = [640, 400];
    let (still, crowd) = (Texture::new(11, 10.0, 60.0, 0.12), Texture::new(12, 8.0, 30.0, 0.2));
    let truth = Warp::similarity(size_f64(size), [1.4, -0.6], 0.2_f64.to_radians(), 1.002);
    let (fixed, moving) = pair(&still, &truth, size, 0.003);
    let with_crowd = |plane: &Plane, walk: f64| {
        Plane::from_fn(size[0], size[1], |x, y| {
            let in_crowd = (180..580).contains(&x) && y > 190;
            let moved = (0.5 + crowd.at(x as f64 - walk, y as f64)) as f32;
            if in_crowd { moved } else { plane.at(x as i64, y as i64) }
        })
    };
    let found = register_warp(&with_crowd(&fixed, 0.0), &with_crowd(&moving, 23.0)).unwrap();
    let error = worst_error(&found, &truth, size);
    eprintln!("crowd: worst {error:.4} px, {:?}", found.model);
    assert!(error < 2.0 * ANCHOR_PX, "{error} {found:?}");
}

#[test]
fn stated_uncertainty_covers_the_truth() {
    let size = [400, 300];
    let mut chi2 = Vec::new();
    for seed in 0..12 {
        let texture = Texture::new(seed + 20, 9.0, 60.0, 0.12);
        let truth = Warp::similarity(size_f64(size), [1.3, 0.7], 0.3_f64.to_radians(), 1.004);
        let (fixed, moving) = pair(&texture, &truth, size, 0.03);
        let found = register_warp(&fixed, &moving).unwrap();
        let roll = found.roll_deg();
        chi2.push(((roll.value - 0.3) / roll.sd).powi(2));
        let [x, y] = found.displacement([200.0, 150.0]);
        chi2.push(((x.value - 1.3) / x.sd).powi(2));
        chi2.push(((y.value - 0.7) / y.sd).powi(2));
    }
    let mean = chi2.iter().sum::<f64>() / chi2.len() as f64;
    eprintln!("mean squared error over stated variance: {mean:.2}");
    assert!((0.2..2.5).contains(&mean), "{mean}: {chi2:?}");
}

#[test]
fn plain_noise_and_different_pictures_have_no_map() {
    let size = [300, 200];
    let truth = Warp::identity(size_f64(size));
    let (a, _) = pair(&Texture::new(31, 8.0, 40.0, 0.12), &truth, size, 0.003);
    let (b, _) = pair(&Texture::new(32, 8.0, 40.0, 0.12), &truth, size, 0.003);
    assert!(register_warp(&a, &b).is_err());
    let (flat, other) = pair(&Texture::new(1, 10.0, 60.0, 0.0), &truth, size, 0.02);
    assert!(register_warp(&flat, &other).is_err());
}
