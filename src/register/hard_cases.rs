//! What crews really bring back: rolled cameras, pulled focus, shadows, crowds, parallax, tone curves.

#![allow(clippy::print_stderr, reason = "shows the measured errors with --nocapture")]

use super::test_scene::{Texture, frame, scaled, with_noise};
use super::*;
use crate::image::{DataWindow, Frame};
use crate::sphere::Outline;

const SIZE: [usize; 2] = [640, 360];
/// As for the easy cases: gain after alignment on comparable textures (see `drift_tests`).
const ANCHOR_STOPS: f64 = 0.005;
const ANCHOR_PX: f64 = 0.05;

fn size() -> [f64; 2] {
    SIZE.map(|s| s as f64)
}

/// A textured wall read at `place(x, y)`.
fn wall_at(seed: u64, place: impl Fn(f64, f64) -> [f64; 2] + Sync) -> Frame {
    let (light, tint) = (Texture::new(seed, 9.0, 90.0, 0.5), Texture::new(seed + 500, 30.0, 200.0, 0.15));
    frame(SIZE, |x, y| {
        let [x, y] = place(x, y);
        let (v, t) = (0.2 * light.at(x, y).exp2(), tint.at(x, y).exp2());
        [v * t, v, v / t]
    })
}

fn wall(seed: u64, shift: [f64; 2]) -> Frame {
    wall_at(seed, |x, y| [x - shift[0], y - shift[1]])
}

/// The wall as a camera sees it whose picture is mapped by `warp`.
fn wall_through(seed: u64, warp: &Warp) -> Frame {
    let inverse = nalgebra::Matrix3::from_fn(|r, c| warp.matrix_px()[r][c]).try_inverse().unwrap();
    wall_at(seed, |x, y| {
        let p = inverse * nalgebra::Vector3::new(x, y, 1.0);
        [p.x / p.z, p.y / p.z]
    })
}

/// Blurred by a Gaussian of that standard deviation, px.
fn blurred(picture: Frame, sigma: f64) -> Frame {
    let reach = (4.0 * sigma).ceil() as i64;
    let taps: Vec<f64> = (-reach..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    let total: f64 = taps.iter().sum();
    let pass = |from: &[[f32; 3]], step: [i64; 2]| -> Vec<[f32; 3]> {
        let at = |i: usize| {
            let (x, y) = ((i % SIZE[0]) as i64, (i / SIZE[0]) as i64);
            let mut sum = [0.0; 3];
            for (tap, weight) in (-reach..=reach).zip(&taps) {
                let u = (x + tap * step[0]).clamp(0, SIZE[0] as i64 - 1) as usize;
                let v = (y + tap * step[1]).clamp(0, SIZE[1] as i64 - 1) as usize;
                (0..3).for_each(|c| sum[c] += weight / total * f64::from(from[v * SIZE[0] + u][c]));
            }
            sum.map(|s| s as f32)
        };
        (0..from.len()).map(at).collect()
    };
    let rgb = pass(&pass(&picture.rgb, [1, 0]), [0, 1]);
    Frame { rgb, ..picture }
}

fn paint(mut picture: Frame, change: impl Fn(f64, f64, [f32; 3]) -> [f32; 3]) -> Frame {
    for (i, rgb) in picture.rgb.iter_mut().enumerate() {
        *rgb = change((i % SIZE[0]) as f64 + 0.5, (i / SIZE[0]) as f64 + 0.5, *rgb);
    }
    picture
}

fn drift(plate: &Frame, mirror: &Frame) -> Result<Drift, String> {
    compare_frames(plate, mirror, Some(&Outline::circle(330.0, 190.0, 40.0)), "mirror frame", None)
}

#[test]
fn roll_and_zoom_between_the_frames_are_undone() {
    for (roll, zoom) in [(0.4_f64, 1.0), (-1.2, 1.0), (0.0, 1.01), (2.0, 0.98)] {
        let warp = Warp::similarity(size(), [3.3, -1.8], roll.to_radians(), zoom);
        let plate = with_noise(wall(3, [0.0; 2]), 1, 0.002);
        let mirror = with_noise(scaled(wall_through(3, &warp), [1.2; 3]), 2, 0.002);
        let found = drift(&plate, &mirror).unwrap();
        let registration = found.registration.as_deref().unwrap();
        let [x, y] = registration.displacement([600.0, 30.0]);
        let truth = warp.displacement([600.0, 30.0]);
        eprintln!(
            "roll {roll} zoom {zoom}: {:?}, {:.4} stop, dx {:.3} dy {:.3}",
            registration.model,
            found.stops.value - 1.2f64.log2(),
            x.value - truth[0],
            y.value - truth[1]
        );
        assert!((x.value - truth[0]).hypot(y.value - truth[1]) < ANCHOR_PX, "{x:?} {y:?} {truth:?}");
        assert!((found.stops.value - 1.2f64.log2()).abs() < ANCHOR_STOPS, "{found:?}");
        assert!(found.warnings.iter().any(|w| w.contains("camera moved")), "{found:?}");
    }
}

#[test]
fn a_locked_off_pair_is_a_translation_of_nothing() {
    let found = drift(&with_noise(wall(3, [0.0; 2]), 1, 0.002), &with_noise(wall(3, [0.0; 2]), 2, 0.002)).unwrap();
    let registration = found.registration.as_deref().unwrap();
    assert_eq!(registration.model, WarpModel::Translation);
    assert!(registration.misregistration_px(size()).value < ANCHOR_PX, "{registration:?}");
    assert!(found.focus.unwrap().blur_px().value.abs() < 0.3, "{found:?}");
}

#[test]
fn changed_focus_is_measured_and_does_not_pull() {
    for sigma in [0.8, 1.5, 2.5] {
        let plate = with_noise(wall(5, [0.0; 2]), 1, 0.001);
        let mirror = with_noise(scaled(blurred(wall(5, [0.4, -0.3]), sigma), [0.9; 3]), 2, 0.001);
        let found = drift(&plate, &mirror).unwrap();
        let blur = found.focus.unwrap().blur_px();
        eprintln!("blur {sigma}: {blur:?}, {:.4} stop", found.stops.value - 0.9f64.log2());
        assert!((blur.value - sigma).abs() < 0.15 * sigma, "{blur:?}");
        assert!((blur.value - sigma).abs() < 4.0 * blur.sd, "{blur:?}");
        // Blur averages light, so the logarithms shift a little where detail was.
        assert!((found.stops.value - 0.9f64.log2()).abs() < 4.0 * found.stops.sd.max(ANCHOR_STOPS), "{found:?}");
        let turned = drift(&mirror, &plate).unwrap().focus.unwrap().blur_px();
        assert!((turned.value + blur.value).abs() < 0.1, "{turned:?}");
    }
}

#[test]
fn a_shadow_of_the_stand_does_not_pull() {
    let plate = with_noise(wall(7, [0.0; 2]), 1, 0.002);
    let mirror = paint(with_noise(scaled(wall(7, [0.3, 0.2]), [1.1; 3]), 2, 0.002), |x, y, rgb| {
        let shadow = (x - 380.0 - 0.6 * (y - 200.0)).abs() < 45.0 && y > 180.0;
        if shadow { rgb.map(|v| 0.45 * v) } else { rgb }
    });
    let found = drift(&plate, &mirror).unwrap();
    assert!((found.stops.value - 1.1f64.log2()).abs() < ANCHOR_STOPS, "{found:?}");
}

#[test]
fn crowds_and_foliage_do_not_pull() {
    let (crowd, leaves) = (wall(40, [0.0; 2]), wall(41, [0.0; 2]));
    let with_people = |picture: Frame, walk: usize| {
        let look = |x: f64, y: f64, rgb: [f32; 3]| {
            let from = |other: &Frame| other.rgb[y as usize * SIZE[0] + (x as usize + walk) % SIZE[0]];
            let foliage = y < 70.0;
            let people = (70.0..300.0).contains(&x) && y > 240.0;
            if foliage {
                from(&leaves).map(|v| 1.3 * v)
            } else if people {
                from(&crowd)
            } else {
                rgb
            }
        };
        paint(picture, look)
    };
    let plate = with_noise(with_people(wall(9, [0.0; 2]), 0), 1, 0.002);
    let mirror = with_noise(scaled(with_people(wall(9, [0.5, -0.2]), 37), [0.85; 3]), 2, 0.002);
    let found = drift(&plate, &mirror).unwrap();
    assert!((found.stops.value - 0.85f64.log2()).abs() < 2.0 * ANCHOR_STOPS, "{found:?}");
    assert!(found.used_fraction < 0.9, "{found:?}");
}

#[test]
fn a_camera_that_moved_aside_is_refused_or_wide() {
    let (near, far) = (Texture::new(50, 9.0, 60.0, 0.4), Texture::new(51, 9.0, 60.0, 0.4));
    // Pillars move three times as far as the wall behind them.
    let seen = |shift: f64| {
        frame(SIZE, |x, y| {
            let pillar = ((x - 3.0 * shift) / 70.0).rem_euclid(2.0) < 1.0;
            let v = if pillar { 0.3 * near.at(x - 3.0 * shift, y).exp2() } else { 0.2 * far.at(x - shift, y).exp2() };
            [v; 3]
        })
    };
    let (plate, moved) = (with_noise(seen(0.0), 1, 0.002), seen(12.0));
    match drift(&plate, &with_noise(scaled(moved, [1.3; 3]), 2, 0.002)) {
        Err(reason) => assert!(!reason.is_empty()),
        Ok(found) => {
            let off = (found.stops.value - 1.3f64.log2()).abs();
            assert!(off < 4.0 * found.stops.sd.max(ANCHOR_STOPS), "{found:?}");
        }
    }
}

#[test]
fn a_flat_background_says_that_it_shows_nothing() {
    let flat = |gain: f64, seed: u64| with_noise(frame(SIZE, move |_, _| [0.3 * gain; 3]), seed, 0.005);
    let found = drift(&flat(1.0, 1), &flat(1.2, 2)).unwrap();
    assert!(found.featureless && found.registration.is_none(), "{found:?}");
}

#[test]
fn camera_jpegs_carry_the_doubt_of_their_tone_curve() {
    let jpeg = |mut picture: Frame| {
        picture.rgb.iter_mut().for_each(|rgb| *rgb = rgb.map(|v| v.powf(0.8)));
        picture.format = "jpeg";
        picture.record.encoding_from = "default".to_owned();
        picture
    };
    let plate = jpeg(with_noise(wall(6, [0.0; 2]), 1, 0.001));
    let brighter = jpeg(with_noise(scaled(wall(6, [0.2, 0.1]), [2.0; 3]), 2, 0.001));
    let found = drift(&plate, &brighter).unwrap();
    assert!((found.stops.value - 1.0).abs() < 2.0 * found.stops.sd, "{found:?}");
    assert!(found.stops.sd > 0.2 && found.warnings.iter().any(|w| w.contains("tone curve")), "{found:?}");
    let same = jpeg(with_noise(wall(6, [0.2, 0.1]), 2, 0.001));
    let found = drift(&plate, &same).unwrap();
    assert!(found.stops.value.abs() < ANCHOR_STOPS && found.stops.sd < 0.02, "{found:?}");
}

#[test]
fn what_moved_is_found_where_it_is() {
    let plate = paint(with_noise(wall(12, [0.0; 2]), 1, 0.002), |x, y, rgb| {
        let actor = (x - 200.0).abs() < 40.0 && y > 120.0;
        if actor { [0.5, 0.12, 0.1] } else { rgb }
    });
    let clean = with_noise(scaled(wall(12, [0.7, -0.4]), [0.8; 3]), 2, 0.002);
    let found = compare_frames(&plate, &clean, None, "clean plate", None).unwrap();
    let moved = what_moved(&plate, &clean, &found).unwrap();
    let truth = 80.0 * 240.0 / (640.0 * 360.0);
    eprintln!("moved {:.4} ± {:.4} of {truth:.4}", moved.covered.value, moved.covered.sd);
    assert!((moved.covered.value - truth).abs() < 4.0 * moved.covered.sd, "{:?} {truth}", moved.covered);
    let mask = moved.mask(plate.size);
    assert_eq!((mask[250 * 640 + 200], mask[250 * 640 + 500]), (255, 0));
    let nothing = compare_frames(&clean, &clean, None, "clean plate", None).unwrap();
    assert!(what_moved(&clean, &clean, &nothing).unwrap().covered.value < 0.002);
}

/// What is told of a part is told in the whole frame's pixels: a place far from the frame's corner.
#[test]
fn a_part_of_the_frames_tells_the_same_motion_as_the_whole() {
    let outline = Outline::circle(380.0, 200.0, 30.0);
    let part = DataWindow { x: 210, y: 90, width: 360, height: 230 };
    for (roll, zoom) in [(0.0, 1.0), (0.5_f64, 1.004)] {
        let warp = Warp::similarity(size(), [2.3, -1.6], roll.to_radians(), zoom);
        let mirror = scaled(wall_through(7, &warp), [1.2; 3]);
        let plate = wall(7, [0.0; 2]);
        let cut = measure_drift(&plate.cropped(&part), &mirror.cropped(&part), &outline, None);
        let DriftOutcome::Measured(found) = cut else { panic!("{cut:?}") };
        assert!((found.stops.value - 1.2_f64.log2()).abs() < ANCHOR_STOPS, "{:?}", found.stops);
        let registration = found.registration.unwrap();
        assert_eq!(registration.model == WarpModel::Translation, roll == 0.0);
        for place in [[250.0, 110.0], [540.0, 300.0], [320.0, 180.0]] {
            let (moved, truth) = (registration.warp.displacement(place), warp.displacement(place));
            let off = (moved[0] - truth[0]).hypot(moved[1] - truth[1]);
            assert!(off < ANCHOR_PX, "{off} px at {place:?}, roll {roll}");
        }
        let shift = found.shift.unwrap();
        let middle = warp.displacement([320.0, 180.0]);
        assert!((shift.dx_px.value - middle[0]).hypot(shift.dy_px.value - middle[1]) < ANCHOR_PX, "{shift:?}");
    }
}

fn shift_of(plate: &Frame, mirror: &Frame, outline: &Outline) -> [f64; 2] {
    let told = measure_drift(plate, mirror, outline, None);
    let DriftOutcome::Measured(drift) = told else { panic!("{told:?}") };
    assert!((drift.stops.value - 1.2_f64.log2()).abs() < ANCHOR_STOPS, "{:?}", drift.stops);
    let shift = drift.shift.unwrap();
    [shift.dx_px.value, shift.dy_px.value]
}

fn cut(frame: &Frame, [x, y]: [i64; 2], [width, height]: [usize; 2]) -> Frame {
    frame.cropped(&DataWindow { x, y, width, height })
}

#[test]
fn sides_that_were_read_in_unlike_windows_tell_the_same() {
    let (plate, mirror) = (wall(7, [0.0; 2]), scaled(wall(7, [2.3, -1.6]), [1.2; 3]));
    let (plate, mirror) = (cut(&plate, [210, 61], [360, 280]), cut(&mirror, [150, 90], [400, 250]));
    let [x, y] = shift_of(&plate, &mirror, &Outline::circle(380.0, 200.0, 30.0));
    assert!((x - 2.3).hypot(y + 1.6) < ANCHOR_PX, "{x} {y}");
}

/// A mirror frame of half the plate's resolution is compared by cells: parts of the two tell what the whole frames tell.
#[test]
fn parts_of_sides_of_unlike_resolution_tell_what_the_whole_tells() {
    let light = Texture::new(7, 24.0, 120.0, 0.5);
    let seen = |scale: f64, shift: [f64; 2], gain: f64| {
        frame([1280.0, 720.0].map(|side| (side / scale) as usize), |x, y| {
            // Four points stand for a pixel's area.
            let at = |u: f64, v: f64| light.at(scale * (x + u) - shift[0], scale * (y + v) - shift[1]).exp2();
            let sum = at(-0.25, -0.25) + at(0.25, -0.25) + at(-0.25, 0.25) + at(0.25, 0.25);
            [0.05 * gain * sum; 3]
        })
    };
    let (plate, mirror) = (seen(1.0, [0.0; 2], 1.0), seen(2.0, [2.3, -1.6], 1.2));
    let outline = Outline::circle(350.0, 150.0, 20.0);
    let [x, y] = shift_of(&plate, &mirror, &outline);
    for (window, size, of_mirror, mirror_size) in [
        ([330, 101], [640, 400], [160, 48], [320, 200]),
        ([320, 96], [640, 400], [130, 61], [370, 190]),
        ([200, 40], [900, 600], [130, 21], [470, 330]),
    ] {
        let [u, v] = shift_of(&cut(&plate, window, size), &cut(&mirror, of_mirror, mirror_size), &outline);
        assert!((u - x).hypot(v - y) < ANCHOR_PX, "{u} {v}, whole {x} {y}");
    }
}

/// A sky that both frames cut off says nothing, though it fills most of what was read: it is no plain background of the frame.
#[test]
fn a_sky_that_is_cut_off_in_most_of_the_part_does_not_pull() {
    let sky = |picture: Frame| paint(picture, |_, y, rgb| if y < 160.0 { [13.5; 3] } else { rgb });
    let plate = sky(with_noise(wall(7, [0.0; 2]), 1, 0.002));
    let mirror = sky(with_noise(scaled(wall(7, [0.0; 2]), [0.5; 3]), 2, 0.002));
    let part = DataWindow { x: 160, y: 40, width: 320, height: 160 };
    let told = measure_drift(&plate.cropped(&part), &mirror.cropped(&part), &Outline::circle(320.0, 120.0, 30.0), None);
    let DriftOutcome::Measured(drift) = &told else { return };
    assert!((drift.stops.value + 1.0).abs() < ANCHOR_STOPS, "{told:?}");
}
