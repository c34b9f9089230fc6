//! Large files are decoded around the spheres only, and whole where that leaves doubt; either way the same is found.
#![allow(clippy::unwrap_used, reason = "a helper of a test fails the test")]

use std::path::Path;

use plateproof::demo::render::{Background, MirrorSphere, RenderOptions, render};
use plateproof::demo::scene::{Backdrop, DiscLight, Panel, Scene, black_body};
use plateproof::demo::{Noise, OpenAir};
use plateproof::findings::{Report, SphereRole};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use plateproof::optics::camera::{FovSource, View};
use plateproof::sheet::load_sheet;
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::outline_of_cone;

const SIZE: Size = Size { width: 2048, height: 1080 };
const FOV_DEG: f64 = 42.0;
const RADIUS_PX: f64 = 150.0;
const CG_CENTRE: [f64; 2] = [1155.0, 595.0];
/// The search's outlines are right to this, px (the figure of the finder's own tests).
const CENTRE_TOLERANCE_PX: f64 = 0.3;

fn quay() -> Scene {
    let light = |azimuth, elevation, radius, kelvin, luminance: f64| {
        DiscLight::new(azimuth, elevation, radius, black_body(kelvin).map(|c| c * luminance))
    };
    Scene::new(Backdrop::OpenAir(OpenAir {
        zenith: [0.30, 0.36, 0.46],
        horizon: [0.42, 0.40, 0.38],
        glow: [0.20, 0.15, 0.10],
        glow_towards: plateproof::demo::scene::direction_of(200.0, 2.0),
        cloud: [0.32, 0.31, 0.33],
        sea: [0.05, 0.07, 0.08],
        deck: [0.16, 0.13, 0.10],
        blocks: Vec::new(),
        seed: 990,
    }))
    .with_panel(Panel::new(150.0, 20.0, [14.0, 9.0], 2.0, [0.9, 0.9, 0.95]))
    .with_light(light(-48.0, 34.0, 5.0, 4300.0, 60.0))
    .with_light(light(70.0, 25.0, 3.0, 3200.0, 40.0))
}

/// Renders plate, mirror frame and CG, with the photographed sphere at `centre`, and checks the shot.
fn check(folder: &Path, centre: [f64; 2]) -> Report {
    let view = View::from_horizontal_fov(SIZE, 1.0, FOV_DEG, FovSource::Sheet);
    let sphere = |centre| MirrorSphere::at(&view, centre, RADIUS_PX, [0.6; 3]);
    let data = DataWindow { x: 0, y: 0, width: SIZE.width, height: SIZE.height };
    let camera = |seed| RenderOptions {
        samples: 2,
        blur_px: 0.5,
        noise: Some(Noise { seed, read: 0.0015, shot: 6e-5 }),
        ..RenderOptions::default()
    };
    let write = |name: &str, sphere: Option<&MirrorSphere>, options: &RenderOptions| {
        let picture = render(&quay(), &view, SIZE, sphere, options);
        let path = folder.join(name);
        write_exr(&path, SIZE, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default()).unwrap();
    };
    write("plate.exr", None, &camera(1));
    write("mirror.exr", Some(&sphere(centre)), &RenderOptions { stand: true, ..camera(2) });
    let cg = RenderOptions { background: Background::Transparent, noise: None, ..camera(3) };
    write("cg.exr", Some(&sphere(CG_CENTRE)), &cg);
    let focal_length_mm = 24.0 / (2.0 * (FOV_DEG.to_radians() / 2.0).tan());
    let sheet = format!(
        r#"{{ "format": "plateproof-shot/1", "shot": "SF_0770", "plate": "plate.exr",
              "mirrors": [ {{ "name": "m1", "bracket": ["mirror.exr"], "reflectance": [0.6, 0.6, 0.6] }} ],
              "cg": {{ "spheres": [ {{ "mirror": "m1", "frame": "cg.exr" }} ] }},
              "camera": {{ "focal_length_mm": {focal_length_mm}, "sensor_mm": [24, 12.65625], "sensor_px": [2048, 1080],
                           "used_px": [2048, 1080], "recorded_px": [2048, 1080] }} }}"#
    );
    let path = folder.join("shot.json");
    std::fs::write(&path, sheet).unwrap();
    check_shot(&load_sheet(&path).unwrap(), RunOptions::default()).report
}

fn assert_mirror_at(report: &Report, centre: [f64; 2]) {
    assert!(report.error.is_none(), "{:?}", report.error);
    let mirror = report.spheres.iter().find(|s| s.role == SphereRole::Mirror).unwrap();
    let [x, y, ..] = mirror.outline_px;
    let view = View::from_horizontal_fov(SIZE, 1.0, FOV_DEG, FovSource::Sheet);
    let truth = outline_of_cone(&view, &MirrorSphere::at(&view, centre, RADIUS_PX, [0.6; 3]).cone).unwrap();
    let off = (x - truth.centre_x).hypot(y - truth.centre_y);
    assert!(off < CENTRE_TOLERANCE_PX, "{off} px from {centre:?}: {:?}", mirror.outline_px);
    assert_eq!(mirror.found_by, "search");
}

#[test]
fn only_what_is_around_the_spheres_is_decoded() {
    let folder = tempfile::tempdir().unwrap();
    let report = check(folder.path(), CG_CENTRE);
    assert_mirror_at(&report, CG_CENTRE);
    for input in &report.inputs {
        assert!(input.decoded_fraction > 0.1 && input.decoded_fraction < 0.6, "{input:?}");
    }
    assert!(report.assumptions.iter().any(|a| a.contains("only the part around the spheres")));
    let drift = report.findings.iter().find(|f| f.check == "reference-drift").unwrap();
    assert!(drift.value.unwrap().abs() < 0.02, "{drift:?}");
}

#[test]
fn a_photographed_sphere_elsewhere_is_found_in_the_whole_frame() {
    let folder = tempfile::tempdir().unwrap();
    let elsewhere = [560.0, 520.0];
    let report = check(folder.path(), elsewhere);
    assert_mirror_at(&report, elsewhere);
    assert!(report.inputs.iter().all(|input| input.decoded_fraction > 0.999), "{:?}", report.inputs);
    assert!(
        report.warnings.iter().any(|w| w.contains("is not where the photographed one is")),
        "{:?}",
        report.warnings
    );
}
