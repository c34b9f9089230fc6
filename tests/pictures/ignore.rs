//! Regions that the sheet asks to ignore, on path-traced shots whose light is known.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::f64::consts::TAU;
use std::path::Path;

use plateproof::findings::{Finding, Report, SphereRole};
use plateproof::sheet::{IgnoreSpec, ShotSheet, load_sheet};
use plateproof::shot::{RunOptions, check_shot};

/// The CG has a light that the photograph lacks, at azimuth 58, elevation 46 (`truth.json`).
const LIGHT_EXTRA: &str = "golden/path_traced/sf_090_light_extra/shot.json";
const STRAY_DEG: [f64; 2] = [58.0, 46.0];
/// Where it would be seen in the photographed sphere (`seen_at_px`).
const STRAY_PX: [f64; 2] = [166.387, 57.112];

/// Half-angle of the region, beyond the light's own 5° and the blur of 1.8° per px.
const RADIUS_DEG: f64 = 12.0;

fn sheet(ignore: Vec<IgnoreSpec>) -> ShotSheet {
    let mut sheet = load_sheet(&Path::new(env!("CARGO_MANIFEST_DIR")).join(LIGHT_EXTRA)).unwrap();
    sheet.mirrors[0].ignore = ignore;
    sheet
}

fn report(ignore: Vec<IgnoreSpec>) -> Report {
    check_shot(&sheet(ignore), RunOptions::default()).report
}

fn cone(azimuth_deg: f64, elevation_deg: f64) -> IgnoreSpec {
    IgnoreSpec {
        what: Some("work light of the ferry".to_owned()),
        azimuth_deg: Some(azimuth_deg),
        elevation_deg: Some(elevation_deg),
        radius_deg: Some(RADIUS_DEG),
        polygon_px: None,
    }
}

fn polygon(centre: [f64; 2], radius_px: f64) -> IgnoreSpec {
    let corner = |i: i32| {
        let (sin, cos) = (TAU * f64::from(i) / 12.0).sin_cos();
        [centre[0] + radius_px * cos, centre[1] + radius_px * sin]
    };
    IgnoreSpec { polygon_px: Some((0..12).map(corner).collect()), ..IgnoreSpec::default() }
}

fn direction(report: &Report) -> &Finding {
    report.findings.iter().find(|f| f.check == "highlight-direction").unwrap()
}

fn extra(report: &Report) -> usize {
    direction(report).detail["extra_in_cg"].as_array().unwrap().len()
}

#[test]
fn an_ignored_light_is_no_extra_light_and_another_place_leaves_it() {
    assert_eq!(extra(&report(Vec::new())), 1);
    assert_eq!(extra(&report(vec![cone(-120.0, -30.0)])), 1);
    let ignored = report(vec![cone(STRAY_DEG[0], STRAY_DEG[1])]);
    assert_eq!(extra(&ignored), 0, "{:?}", direction(&ignored));
    assert_eq!(direction(&ignored).verdict.word(), "match", "{:?}", direction(&ignored));
    assert!(ignored.assumptions.iter().any(|line| line.contains("work light of the ferry")), "{ignored:?}");
}

#[test]
fn a_polygon_in_the_photograph_counts_on_both_sides() {
    // A cone of 12 degrees is about 7 px where a px shows 1.8 degrees.
    let ignored = report(vec![polygon(STRAY_PX, 8.0)]);
    assert_eq!(extra(&ignored), 0, "{:?}", direction(&ignored));
    for sphere in &ignored.spheres {
        let share = 8.0_f64.powi(2) / 74.0_f64.powi(2);
        let close = (sphere.ignored_fraction / share - 1.0).abs() < 0.1;
        assert!(close, "{:?} {} {share}", sphere.role, sphere.ignored_fraction);
        assert!(sphere.invalid_fraction < 1e-3, "{:?} {}", sphere.role, sphere.invalid_fraction);
    }
    assert!(ignored.spheres.iter().any(|s| s.role == SphereRole::Cg));
}

#[test]
fn a_region_off_the_sphere_is_said() {
    let beside = report(vec![polygon([20.0, 20.0], 8.0)]);
    assert!(beside.warnings.iter().any(|line| line.contains("does not touch the sphere")), "{:?}", beside.warnings);
}

#[test]
fn a_region_told_by_half_is_refused() {
    let half = IgnoreSpec { azimuth_deg: Some(3.0), ..IgnoreSpec::default() };
    let error = sheet(vec![half]).checked_again(Path::new("shot.json")).unwrap_err();
    assert!(error.to_string().contains("mirrors[0].ignore[0]"), "{error}");
}
