//! A rendered mirror frame and CG sphere of one small shot, and the report on them.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::Path;

use plateproof::demo::render::Picture;
use plateproof::findings::{Finding, Report};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use plateproof::optics::camera::{FovSource, View};
use plateproof::sheet::sheet_from_json;
use plateproof::shot::{RunOptions, check_shot};
use serde_json::{Value, json};

pub(crate) const SIZE: Size = Size { width: 640, height: 360 };
const FOV_DEG: f64 = 45.0;

/// The camera of both frames.
pub(crate) fn view() -> View {
    View::from_horizontal_fov(SIZE, 1.0, FOV_DEG, FovSource::Sheet)
}

pub(crate) fn write(path: &Path, picture: &Picture) {
    let data = DataWindow { x: 0, y: 0, width: SIZE.width, height: SIZE.height };
    write_exr(path, SIZE, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default()).unwrap();
}

/// The report on the two, with the photographed outline searched for or given.
pub(crate) fn report(mirror: &Picture, cg: &Picture, outline_px: Option<[f64; 3]>) -> Report {
    report_with(mirror, cg, outline_px.map(|outline| ("outline_px", json!(outline))))
}

/// The report on the two, where the photograph is cut off at a value.
pub(crate) fn report_below(mirror: &Picture, cg: &Picture, clip_level: f64) -> Report {
    report_with(mirror, cg, Some(("clip_level", json!(clip_level))))
}

fn report_with(mirror: &Picture, cg: &Picture, told: Option<(&str, Value)>) -> Report {
    let folder = tempfile::tempdir().unwrap();
    write(&folder.path().join("mirror.exr"), mirror);
    write(&folder.path().join("cg.exr"), cg);
    let focal_mm = 12.0 / (FOV_DEG.to_radians() / 2.0).tan();
    let mut mirror = json!({ "name": "m1", "frame": "mirror.exr", "reflectance": [0.6, 0.6, 0.6] });
    if let Some((key, value)) = told {
        mirror[key] = value;
    }
    let sheet = json!({
        "format": "plateproof-shot/1", "shot": "SF_0710",
        "mirrors": [mirror],
        "cg": { "spheres": [{ "mirror": "m1", "frame": "cg.exr", "reflectance": "same-as-mirror" }] },
        "camera": { "focal_length_mm": focal_mm, "sensor_mm": [24.0, 13.5] },
    });
    let sheet = sheet_from_json(sheet, &folder.path().join("shot.json"), folder.path()).unwrap();
    let report = check_shot(&sheet, RunOptions::default()).report;
    assert!(report.error.is_none(), "{:?}", report.error);
    report
}

pub(crate) fn finding<'a>(report: &'a Report, check: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check).unwrap()
}
