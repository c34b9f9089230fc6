//! What a report says to do is done, and the number that it gives is the one that was wrong.
//!
//! The frames are this project's own renders; by how much a lamp was made weaker is arithmetic.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::{Panel, Scene};
use plateproof::demo::set::{deck_at_dusk, lamp};
use plateproof::findings::{Report, SphereRole, Verdict};

use crate::pair::{self, SIZE, finding, view, write};

const KEY: f64 = 900.0;
const CLOTH: f64 = 3.0;

fn frame(scene: &Scene, background: Background) -> Picture {
    let sphere = MirrorSphere::at(&view(), [330.0, 170.0], 100.0, [0.6; 3]);
    render(scene, &view(), SIZE, Some(&sphere), &RenderOptions { background, ..RenderOptions::default() })
}

fn report(set: &Scene, cg: &Picture) -> Report {
    pair::report(&frame(set, Background::Shown), cg, None)
}

/// A lamp up to the left as the key, a cloth to the right as the fill.
fn lit(key: f64, cloth: f64) -> Scene {
    let cloth = Panel::new(60.0, -25.0, [30.0, 30.0], 3.0, [cloth; 3]);
    let scene = deck_at_dusk(7, 160.0).with_panel(cloth);
    if key > 0.0 { scene.with_light(lamp(-40.0, 32.0, 5.0, 4300.0, key)) } else { scene }
}

/// Largest difference between the searched outline and the CG's, which alpha tells to a hair: centre and semi-axes.
fn outlines_apart_px(report: &Report) -> f64 {
    let of = |role| report.spheres.iter().find(|s| s.role == role).unwrap().outline_px;
    let (found, truth) = (of(SphereRole::Mirror), of(SphereRole::Cg));
    (0..4).map(|i| (found[i] - truth[i]).abs()).fold(0.0, f64::max)
}

/// A dark board before the left of the photographed sphere, up to this column.
fn behind_a_board(mut picture: Picture, to_column: usize) -> Picture {
    for row in picture.rgb.chunks_exact_mut(SIZE.width) {
        row[150..to_column].fill([0.02, 0.02, 0.025]);
    }
    picture
}

/// The board hides a third of the disc (41 % of its rim), and the key with it: nobody can tell where the key stood, and the
/// CG's is not to be removed.
#[test]
fn a_key_behind_something_is_not_called_extra() {
    let set = lit(KEY, CLOTH).with_light(lamp(50.0, 20.0, 4.0, 3200.0, 0.5 * KEY));
    let photographed = behind_a_board(frame(&set, Background::Shown), 303);
    let report = pair::report(&photographed, &with_sphere_only(&set), None);
    assert!(outlines_apart_px(&report) < 0.5, "{:?}", report.spheres);
    let direction = finding(&report, "highlight-direction");
    assert_eq!(direction.verdict, Verdict::Unsure, "{direction:#?}");
    assert!(direction.reason.contains("may hide the photographed sphere"), "{}", direction.reason);
    assert!(!direction.remedy.words().contains("remove"), "{}", direction.remedy);
}

/// A third of the diameter lies beyond the frame's left edge: the key on what is left is held against the CG's.
#[test]
fn a_sphere_cut_by_a_third_is_compared() {
    let set = lit(KEY, CLOTH);
    let sphere = MirrorSphere::at(&view(), [34.0, 170.0], 100.0, [0.6; 3]);
    let take = |scene: &Scene, background| {
        render(scene, &view(), SIZE, Some(&sphere), &RenderOptions { background, ..RenderOptions::default() })
    };
    let turned = set.clone().turned(12.0);
    let report = pair::report(&take(&set, Background::Shown), &take(&turned, Background::Transparent), None);
    assert!(outlines_apart_px(&report) < 0.5, "{:?}", report.spheres);
    let turn = finding(&report, "environment-rotation");
    assert_eq!(turn.verdict, Verdict::Mismatch, "{turn:#?}");
    assert!((turn.value.unwrap() - 12.0).abs() < 1.0, "{turn:#?}");
}

fn with_sphere_only(scene: &Scene) -> Picture {
    frame(scene, Background::Transparent)
}

/// The factor of "multiply the CG … by".
fn factor(remedy: &str) -> f64 {
    let after = remedy.split("multiply the CG ").nth(1).unwrap_or_else(|| panic!("{remedy}"));
    let after = after.split(" by ").nth(1).unwrap_or_else(|| panic!("{remedy}"));
    after.split([' ', ';']).next().unwrap().parse().unwrap()
}

#[test]
fn the_gain_is_that_of_the_light_which_is_wrong() {
    let set = lit(KEY, CLOTH);
    for (cg, truth, at) in [
        (lit(KEY / 4.0, CLOTH), 4.0, "the CG key at azimuth -40"),
        (lit(KEY * 2.5, CLOTH), 0.4, "the CG key at azimuth -40"),
        (lit(KEY, CLOTH / 4.0), 4.0, "the CG light at azimuth"),
    ] {
        let report = report(&set, &with_sphere_only(&cg));
        let finding = finding(&report, "key-fill-ratio");
        assert_eq!(finding.verdict, Verdict::Mismatch, "{finding:#?}");
        assert!(finding.remedy.words().contains(at), "{}", finding.remedy);
        assert!((factor(&finding.remedy.words()) / truth).log2().abs() < 0.12, "truth {truth}: {}", finding.remedy);
    }
}

/// Turned as a whole besides, the light that is too strong is still told with its own gain.
#[test]
fn the_gain_is_told_under_a_turn_of_all_light() {
    let cg = lit(KEY * 2.5, CLOTH).turned(70.0);
    let report = report(&lit(KEY, CLOTH), &with_sphere_only(&cg));
    let finding = finding(&report, "key-fill-ratio");
    assert_eq!(finding.verdict, Verdict::Mismatch, "{finding:#?}");
    let gain = factor(&finding.remedy.words());
    assert!((gain / 0.4).log2().abs() < 0.15, "{}", finding.remedy);
}

/// The fill stands right, and turning it to where the key is missing would take it away.
#[test]
fn a_key_that_is_missing_is_added_and_nothing_is_turned() {
    let report = report(&lit(KEY, CLOTH), &with_sphere_only(&lit(0.0, CLOTH)));
    let direction = finding(&report, "highlight-direction");
    assert_eq!(direction.verdict, Verdict::Mismatch, "{direction:#?}");
    assert!(direction.remedy.words().contains("add a light at azimuth -40"), "{direction:#?}");
    assert!(!direction.remedy.words().contains("turn"), "{}", direction.remedy);
    let contrast = finding(&report, "key-fill-ratio");
    assert!(contrast.remedy.words().starts_with("same cause as highlight-direction"), "{}", contrast.remedy);
}

/// Radiance and disc make its illuminance: half the radiance in a disc of 4 degrees against one of 5.
#[test]
fn a_light_that_is_missing_is_told_with_its_strength_and_colour() {
    let set = lit(KEY, CLOTH).with_light(lamp(50.0, 20.0, 4.0, 3200.0, 0.5 * KEY));
    let report = report(&set, &with_sphere_only(&lit(KEY, CLOTH)));
    let direction = finding(&report, "highlight-direction");
    let words = direction.remedy.words();
    let told = words.split(" deg, ").nth(1).unwrap_or_else(|| panic!("{}", direction.remedy));
    let numbers: Vec<f64> = told.split(' ').filter_map(|word| word.parse().ok()).collect();
    let truth = 0.5 * (4.0_f64.to_radians().sin() / 5.0_f64.to_radians().sin()).powi(2);
    assert!((numbers[1] / truth).log2().abs() < 0.1, "{} for {truth:.3}", direction.remedy.words());
    assert!((numbers[0] - 3200.0).abs() < 60.0, "{}", direction.remedy);
}

#[test]
fn a_picture_whose_left_and_right_are_exchanged_is_told_as_that() {
    let set = lit(KEY, CLOTH);
    let mut cg = with_sphere_only(&set);
    let width = SIZE.width;
    cg.rgb.chunks_exact_mut(width).for_each(<[_]>::reverse);
    if let Some(alpha) = &mut cg.alpha {
        alpha.chunks_exact_mut(width).for_each(<[_]>::reverse);
    }
    let report = report(&set, &cg);
    let direction = finding(&report, "highlight-direction");
    assert!(direction.remedy.words().contains("left and right swapped"), "{direction:#?}");
}

/// Two mirrors of one size on one frame: which of them is meant is not for the program to choose.
#[test]
fn two_spheres_of_one_size_are_told() {
    let scene = lit(KEY, CLOTH);
    let view = view();
    let mut both = frame(&scene, Background::Shown);
    let second = MirrorSphere::at(&view, [110.0, 120.0], 97.0, [0.6; 3]);
    let options = RenderOptions { background: Background::Transparent, ..RenderOptions::default() };
    let beside = render(&scene, &view, SIZE, Some(&second), &options);
    for (pixel, (over, alpha)) in both.rgb.iter_mut().zip(beside.rgb.iter().zip(beside.alpha.unwrap())) {
        *pixel = [0, 1, 2].map(|c| over[c] + pixel[c] * (1.0 - alpha));
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("two.exr");
    write(&path, &both);
    let frame = crate::sphere_scene::load::exr_file(&path);
    let search = plateproof::sphere::find::find_sphere(&frame, &view).unwrap();
    assert_eq!(search.rivals.len(), 1, "{search:#?}");
}

/// Lamps a stop over while all around is right: a subject there is lit too strongly, and the median over directions, which leaves
/// lights out, does not see it.
#[test]
fn lamps_a_stop_over_are_told_though_the_surroundings_are_right() {
    let report = report(&lit(KEY, 0.02), &with_sphere_only(&lit(2.0 * KEY, 0.02)));
    let exposure = finding(&report, "exposure");
    assert_eq!(exposure.verdict, Verdict::Mismatch, "{exposure:#?}");
    let stops = |key: &str| exposure.detail[key].as_f64().unwrap();
    assert!(stops("surroundings_stops").abs() < 0.1, "{exposure:#?}");
    assert!(stops("illuminance_stops") > 0.5, "{exposure:#?}");
}

/// A key that stands ten degrees off needs a turn and nothing else: what contrast and exposure say follows from it.
#[test]
fn a_turned_key_is_not_dimmed_besides() {
    let turned = deck_at_dusk(7, 160.0)
        .with_panel(Panel::new(60.0, -25.0, [30.0, 30.0], 3.0, [CLOTH; 3]))
        .with_light(lamp(-58.0, 32.0, 5.0, 4300.0, KEY));
    let report = report(&lit(KEY, CLOTH), &with_sphere_only(&turned));
    let direction = finding(&report, "highlight-direction");
    assert_eq!(direction.verdict, Verdict::Mismatch, "{direction:#?}");
    assert!(direction.remedy.words().starts_with("turn the CG key"), "{}", direction.remedy);
    for check in ["key-fill-ratio", "exposure"] {
        let other = finding(&report, check);
        assert!(!other.remedy.words().contains("multiply"), "{check}: {}", other.remedy);
    }
}
