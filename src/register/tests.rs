//! Registration against known shifts.

use proptest::prelude::*;

use super::test_scene::{Random, Texture};
use super::*;

/// The anchor for synthetic texture at 0, 1 and 5 % noise. OpenCV 5.0.0's ECC (Evangelidis & Psarakis 2008) reached a
/// median of 0.031, 0.036 and 0.025 px and at most 0.05 px on 512² soft texture shifted by up to 3 px.
const ANCHOR_PX: f64 = 0.05;

/// The texture moved by `shift`, brightened by `gain`, on a mean of 0.5.
fn plane(texture: &Texture, shift: [f64; 2], side: usize, gain: f64, noise: f64, seed: u64) -> Plane {
    let mut random = Random::new(seed);
    let values = (0..side * side)
        .map(|i| {
            let (x, y) = ((i % side) as f64 - shift[0], (i / side) as f64 - shift[1]);
            (gain * (0.5 + texture.at(x, y)) + noise * random.normal()) as f32
        })
        .collect();
    Plane::new(side, side, values).unwrap()
}

fn errors_px(found: &Shift, truth: [f64; 2]) -> [f64; 2] {
    [found.dx_px.value - truth[0], found.dy_px.value - truth[1]]
}

fn assert_within(found: &Shift, truth: [f64; 2], tolerance_px: f64) {
    let [x, y] = errors_px(found, truth);
    assert!(x.hypot(y) <= tolerance_px, "off by {x:.4}, {y:.4} px: {found:?}");
}

#[test]
fn soft_texture_registers_within_the_anchor_at_three_noise_levels() {
    let pairs: Vec<([f64; 2], Plane, Plane)> = (0..9).map(soft_pair).collect();
    for noise in [0.0, 0.01, 0.05] {
        let mut errors: Vec<f64> = pairs.iter().map(|pair| error_px_with_noise(pair, noise)).collect();
        errors.sort_by(f64::total_cmp);
        assert!(errors[8] <= ANCHOR_PX, "noise {noise}: {errors:?}");
    }
}

/// A random shift of up to 3 px each way and the two pictures, a tenth of a stop apart.
fn soft_pair(trial: u64) -> ([f64; 2], Plane, Plane) {
    let mut random = Random::new(trial);
    let truth = [6.0 * random.uniform() - 3.0, 6.0 * random.uniform() - 3.0];
    let texture = Texture::new(trial + 7, 12.0, 80.0, 0.12);
    let picture = |shift, gain: f64| plane(&texture, shift, 512, gain, 0.0, 0);
    (truth, picture([0.0; 2], 1.0), picture(truth, 0.1f64.exp2()))
}

fn noisy(plane: &Plane, seed: u64, noise: f64) -> Plane {
    let mut random = Random::new(seed);
    let values = plane.values().iter().map(|v| v + (noise * random.normal()) as f32).collect();
    Plane::new(plane.width(), plane.height(), values).unwrap()
}

/// Error of one trial; also holds it against the stated standard deviation.
fn error_px_with_noise((truth, fixed, moving): &([f64; 2], Plane, Plane), noise: f64) -> f64 {
    let found = register_translation(&noisy(fixed, 1, noise), &noisy(moving, 2, noise)).unwrap();
    let [x, y] = errors_px(&found, *truth);
    assert!((x / found.dx_px.sd).abs() < 4.0 && (y / found.dy_px.sd).abs() < 4.0, "sd too small: {x} {y} {found:?}");
    x.hypot(y)
}

#[test]
fn a_few_edges_on_a_plain_wall_are_not_outliers() {
    let truth = [0.8, -1.35];
    let picture = |shift: [f64; 2], seed: u64| {
        let mut random = Random::new(seed);
        let values = (0..300 * 200).map(|i| {
            let (x, y) = ((i % 300) as f64 - shift[0], (i / 300) as f64 - shift[1]);
            // A pillar and a beam with edges about two pixels wide.
            let edge = |d: f64| 1.0 / (1.0 + (-d / 0.7).exp());
            let v = edge(x - 140.0) * edge(160.0 - x) + 0.6 * edge(y - 60.0) * edge(75.0 - y);
            (0.5 + v + 0.003 * random.normal()) as f32
        });
        Plane::new(300, 200, values.collect()).unwrap()
    };
    assert_within(&register_translation(&picture([0.0; 2], 1), &picture(truth, 2)).unwrap(), truth, ANCHOR_PX);
}

#[test]
fn fine_texture_and_a_large_shift_register() {
    let texture = Texture::new(3, 4.0, 30.0, 0.12);
    let truth = [61.3, -47.8];
    let fixed = plane(&texture, [0.0; 2], 400, 1.0, 0.005, 1);
    let moving = plane(&texture, truth, 400, 1.0, 0.005, 2);
    assert_within(&register_translation(&fixed, &moving).unwrap(), truth, ANCHOR_PX);
}

#[test]
fn sign_of_the_shift_is_where_the_feature_went() {
    let spot = |cx: f64, cy: f64| {
        Plane::from_fn(96, 96, |x, y| {
            let r2 = (x as f64 - cx).powi(2) + (y as f64 - cy).powi(2);
            (-r2 / 60.0).exp() as f32
        })
    };
    let found = register_translation(&spot(40.0, 50.0), &spot(45.25, 48.5)).unwrap();
    assert_within(&found, [5.25, -1.5], 0.02);
}

#[test]
fn a_fifth_of_the_frame_moving_on_its_own_does_not_matter() {
    let (still, walking) = (Texture::new(11, 10.0, 60.0, 0.12), Texture::new(12, 8.0, 30.0, 0.2));
    let truth = [1.37, -0.62];
    let inside = |x: f64, y: f64| (100.0..330.0).contains(&x) && (100.0..328.0).contains(&y);
    let picture = |shift: [f64; 2], walk: f64| {
        Plane::from_fn(512, 512, |x, y| {
            let (x, y) = (x as f64, y as f64);
            let v = if inside(x - walk, y) { walking.at(x - walk, y) } else { still.at(x - shift[0], y - shift[1]) };
            (0.5 + v) as f32
        })
    };
    let found = register_translation(&picture([0.0; 2], 0.0), &picture(truth, 17.0)).unwrap();
    assert_within(&found, truth, ANCHOR_PX);
}

#[test]
fn masked_pixels_are_ignored_even_where_the_mask_does_not_move() {
    let texture = Texture::new(5, 10.0, 60.0, 0.12);
    let truth = [2.4, 1.7];
    let fixed = plane(&texture, [0.0; 2], 384, 1.0, 0.002, 1);
    let full = plane(&texture, truth, 384, 1.0, 0.002, 2);
    let moving = Plane::from_fn(384, 384, |x, y| {
        let hidden = (x as f64 - 190.0).hypot(y as f64 - 200.0) < 80.0;
        if hidden { f32::NAN } else { full.at(x as i64, y as i64) }
    });
    assert_within(&register_translation(&fixed, &moving).unwrap(), truth, ANCHOR_PX);
}

#[test]
fn uneven_light_between_the_two_does_not_pull() {
    let texture = Texture::new(21, 10.0, 50.0, 0.12);
    let truth = [-1.2, 0.45];
    let log = |shift: [f64; 2], ramp: f64| {
        Plane::from_fn(512, 512, |x, y| {
            let v = 0.5 + texture.at(x as f64 - shift[0], y as f64 - shift[1]);
            (v.max(0.01).log2() + ramp * x as f64 / 512.0) as f32
        })
    };
    assert_within(&register_translation(&log([0.0; 2], 0.0), &log(truth, 0.7)).unwrap(), truth, ANCHOR_PX);
}

#[test]
fn plain_noise_is_no_texture() {
    let flat = Texture::new(1, 10.0, 60.0, 0.0);
    let pair = [1, 2].map(|seed| plane(&flat, [0.0; 2], 256, 1.0, 0.02, seed));
    assert_eq!(register_translation(&pair[0], &pair[1]), Err(NotRegistered::NoTexture));
    let even = plane(&flat, [0.0; 2], 256, 1.0, 0.0, 0);
    assert_eq!(register_translation(&even, &even), Err(NotRegistered::NoTexture));
}

#[test]
fn stripes_leave_one_direction_open() {
    let stripes = Texture::new(4, 10.0, 60.0, 0.12).striped();
    let fixed = plane(&stripes, [0.0; 2], 256, 1.0, 0.01, 1);
    let moving = plane(&stripes, [1.5, 0.0], 256, 1.0, 0.01, 2);
    let found = register_translation(&fixed, &moving);
    assert!(matches!(found, Err(NotRegistered::OneDirection | NotRegistered::Repeating)), "{found:?}");
}

#[test]
fn different_pictures_do_not_agree() {
    let pair = [31, 32].map(|seed| plane(&Texture::new(seed, 8.0, 40.0, 0.12), [0.0; 2], 300, 1.0, 0.003, seed));
    assert_eq!(register_translation(&pair[0], &pair[1]), Err(NotRegistered::NoAgreement));
}

#[test]
fn a_pattern_that_repeats_is_not_decided() {
    let grid = |shift: f64| {
        Plane::from_fn(256, 256, |x, y| {
            let wave = |v: f64| (std::f64::consts::TAU * v / 16.0).sin();
            (wave(x as f64 - shift) + wave(y as f64)) as f32
        })
    };
    assert_eq!(register_translation(&grid(0.0), &grid(7.0)), Err(NotRegistered::Repeating));
}

#[test]
fn sizes_must_agree_and_suffice() {
    let texture = Texture::new(1, 10.0, 60.0, 0.1);
    let [small, large] = [100, 101].map(|side| plane(&texture, [0.0; 2], side, 1.0, 0.0, 1));
    assert_eq!(register_translation(&small, &large), Err(NotRegistered::Size));
    let tiny = plane(&texture, [0.0; 2], 12, 1.0, 0.0, 1);
    assert_eq!(register_translation(&tiny, &tiny), Err(NotRegistered::Size));
}

#[test]
fn a_plane_of_holes_gives_a_reason() {
    let holes = Plane::from_fn(64, 64, |_, _| f32::NAN);
    assert_eq!(register_translation(&holes, &holes), Err(NotRegistered::NoTexture));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Exchanging the pictures turns the shift round.
    #[test]
    fn exchanging_the_pictures_turns_the_shift(dx in -8.0..8.0f64, dy in -8.0..8.0f64, seed in 0u64..1000) {
        let texture = Texture::new(seed, 8.0, 40.0, 0.12);
        let (a, b) = (plane(&texture, [0.0; 2], 160, 1.0, 0.0, 1), plane(&texture, [dx, dy], 160, 1.0, 0.0, 2));
        let there = register_translation(&a, &b).unwrap();
        let back = register_translation(&b, &a).unwrap();
        prop_assert!(errors_px(&there, [dx, dy]).iter().all(|e| e.abs() < ANCHOR_PX), "{there:?}");
        prop_assert!((there.dx_px.value + back.dx_px.value).abs() < 0.03);
        prop_assert!((there.dy_px.value + back.dy_px.value).abs() < 0.03);
    }

    /// A brighter or offset copy gives the same shift.
    #[test]
    fn gain_and_offset_do_not_matter(gain in 0.3..3.0f32, offset in -2.0..2.0f32) {
        let texture = Texture::new(77, 8.0, 40.0, 0.12);
        let (a, b) = (plane(&texture, [0.0; 2], 160, 1.0, 0.002, 1), plane(&texture, [1.3, -2.6], 160, 1.0, 0.002, 2));
        let other = Plane::from_fn(160, 160, |x, y| gain * b.at(x as i64, y as i64) + offset);
        let (plain, changed) = (register_translation(&a, &b).unwrap(), register_translation(&a, &other).unwrap());
        prop_assert!((plain.dx_px.value - changed.dx_px.value).abs() < 0.005);
        prop_assert!((plain.dy_px.value - changed.dy_px.value).abs() < 0.005);
    }
}
