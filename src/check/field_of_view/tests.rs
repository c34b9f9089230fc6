use std::path::Path;

use approx::assert_relative_eq;
use serde_json::{Value, json};

use super::*;
use crate::check::FileNote;
use crate::image::{CaptureMeta, SensorWidthBasis};
use crate::sheet::sheet_from_json;

const UHD: Size = Size { width: 4096, height: 2160 };

fn sheet(camera: &Value, cg_camera: &Value) -> ShotSheet {
    let value = json!({
        "format": "plateproof-shot/1", "shot": "SF_0010", "mirrors": ["s.exr"],
        "cg": { "spheres": ["cg.exr"], "camera": cg_camera }, "camera": camera
    });
    sheet_from_json(value, Path::new("test"), Path::new("")).unwrap()
}

fn file(role: &'static str, size: Size, meta: CaptureMeta) -> FileNote {
    FileNote { role, mirror: None, file: format!("{role}.exr"), size, content: String::new(), meta }
}

fn files(cg: CaptureMeta) -> Vec<FileNote> {
    vec![file("plate", UHD, CaptureMeta::default()), file("cg", UHD, cg)]
}

fn finding(sheet: &ShotSheet, files: &[FileNote]) -> Finding {
    let open = |_: &crate::sheet::ImageSpec, _: &str| unreachable!("no further file is needed");
    let shot = ShotEvidence { files, ..ShotEvidence::of_sheet(sheet, &open) };
    FieldOfView.run(&shot).unwrap().findings.remove(0)
}

/// A 32 mm lens on a sensor 24.89 mm wide that is read out to 5/6 and scaled down.
fn cropped() -> Value {
    json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12], "sensor_px": [4608, 2430], "used_px": [3840, 2025],
            "recorded_px": [4096, 2160] })
}

#[test]
fn the_same_camera_matches_and_has_no_error() {
    let film_back = 24.89 * 5.0 / 6.0;
    let told = sheet(&cropped(), &json!({ "focal_length_mm": 32, "sensor_mm": [film_back, 10.93] }));
    let finding = finding(&told, &files(CaptureMeta::default()));
    assert_eq!(finding.verdict, Verdict::Match, "{finding:?}");
    assert_relative_eq!(finding.value.unwrap(), 0.0, epsilon = 1e-9);
    assert!(finding.remedy.is_empty());
}

#[test]
fn a_longer_cg_lens_is_told_in_degrees_mm_and_px() {
    let told = sheet(&json!({ "focal_length_mm": 32, "sensor_format": "super-35" }), &json!({ "focal_length_mm": 35 }));
    let finding = finding(&told, &files(CaptureMeta::default()));
    assert_eq!((finding.verdict, finding.concerns.word()), (Verdict::Mismatch, "cg"));
    // 2 atan(24.892 / 2f): 42.51 deg at 32 mm, 39.15 deg at 35 mm.
    assert_relative_eq!(finding.value.unwrap(), 39.15 - 42.51, epsilon = 0.01);
    assert_relative_eq!(finding.detail["focal_length_error_mm"].as_f64().unwrap(), 3.0, epsilon = 1e-9);
    assert_relative_eq!(finding.detail["edge_error_px"].as_f64().unwrap(), 2048.0 * 3.0 / 32.0, epsilon = 1e-6);
    assert!(finding.remedy.words().contains("32.00 mm on a film back 24.89 mm wide"), "{}", finding.remedy);
}

#[test]
fn the_usual_slips_are_named() {
    let remedy =
        |camera: &Value, cg: Value| finding(&sheet(camera, &cg), &files(CaptureMeta::default())).remedy.words();
    let whole = remedy(&cropped(), json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] }));
    assert!(whole.contains("the crop was forgotten"), "{whole}");
    let mut downscaled = cropped();
    (downscaled["used_px"], downscaled["recorded_px"]) = (json!([4608, 2430]), json!([4096, 2160]));
    let taken = json!({ "focal_length_mm": 32, "sensor_mm": [24.89 * 4096.0 / 4608.0, 11.66] });
    assert!(remedy(&downscaled, taken).contains("the downscale from 4608 to 4096 columns was mistaken for a crop"));
    let gate = json!({ "focal_length_mm": 32, "sensor_format": "super-35" });
    let stills = remedy(&gate, json!({ "focal_length_mm": 32, "sensor_format": "full-frame" }));
    assert!(stills.contains("the same lens on the full-frame gate"), "{stills}");
    let anamorphic = json!({ "focal_length_mm": 40, "sensor_mm": [22.0, 11.6], "squeeze": 2 });
    let unsqueezed = remedy(&anamorphic, json!({ "focal_length_mm": 40, "sensor_mm": [22.0, 11.6], "squeeze": 1 }));
    assert!(unsqueezed.contains("the squeeze of 2"), "{unsqueezed}");
}

#[test]
fn a_downscale_alone_changes_nothing() {
    let camera = json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12], "sensor_px": [4608, 2430],
                         "used_px": [4608, 2430], "recorded_px": [4096, 2160] });
    let told = sheet(&camera, &json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] }));
    let half = Size { width: 2048, height: 1080 };
    let files = [file("plate", UHD, CaptureMeta::default()), file("cg", half, CaptureMeta::default())];
    let finding = finding(&told, &files);
    assert_eq!(finding.verdict, Verdict::Match, "{finding:?}");
}

#[test]
fn the_cg_files_own_camera_counts_and_the_worst_source_decides() {
    let camera = json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] });
    let told = sheet(&camera, &json!({ "focal_length_mm": 32 }));
    let meta = CaptureMeta { matrix_fov_deg: Some(54.43), ..CaptureMeta::default() };
    let finding = finding(&told, &files(meta));
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert_eq!(finding.detail["cg_by"], "cg.exr (worldToNDC)");
    assert!(finding.reason.contains("CG sources disagree"), "{}", finding.reason);
    assert_eq!(finding.detail["sources"].as_array().unwrap().len(), 3);
}

#[test]
fn a_focal_length_alone_in_the_cg_file_is_taken_on_the_plates_sensor() {
    let told = sheet(&json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] }), &Value::Null);
    let of = |focal| CaptureMeta { focal_length_mm: Some(focal), ..CaptureMeta::default() };
    assert_eq!(finding(&told, &files(of(32.0))).verdict, Verdict::Match);
    assert_eq!(finding(&told, &files(of(28.0))).verdict, Verdict::Mismatch);
}

#[test]
fn overscan_is_compared_pixel_for_pixel() {
    let camera = json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] });
    let told = sheet(&camera, &Value::Null);
    let wide = Size { width: 4506, height: 2300 };
    let tangent: f64 = 24.89 / 64.0 * 4506.0 / 4096.0;
    let fov = 2.0 * tangent.atan().to_degrees();
    let cg = CaptureMeta { matrix_fov_deg: Some(fov), ..CaptureMeta::default() };
    let found = finding(&told, &[file("plate", UHD, CaptureMeta::default()), file("cg", wide, cg)]);
    assert_eq!(found.verdict, Verdict::Match, "{found:?}");
    assert!(found.reason.contains("overscan"), "{}", found.reason);
}

#[test]
fn plate_sources_that_decide_it_both_ways_leave_it_open() {
    let told = sheet(
        &json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] }),
        &json!({ "focal_length_mm": 35, "sensor_mm": [24.89, 13.12] }),
    );
    let exif = CaptureMeta {
        focal_length_mm: Some(35.0),
        sensor_width_mm: Some(24.89),
        sensor_width_basis: Some(SensorWidthBasis::ReadOut),
        ..CaptureMeta::default()
    };
    let found = finding(&told, &[file("plate", UHD, exif), file("cg", UHD, CaptureMeta::default())]);
    assert_eq!(found.verdict, Verdict::Unsure);
    assert!(
        found.reason.contains("different verdicts") && found.reason.contains("plate sources disagree"),
        "{}",
        found.reason
    );
}

#[test]
fn the_plates_file_tells_the_sensor_and_the_sheet_the_squeeze() {
    let anamorphic = json!({ "focal_length_mm": 40, "sensor_mm": [22.0, 11.6], "squeeze": 2 });
    let told = sheet(&anamorphic, &json!({ "focal_length_mm": 40, "sensor_mm": [22.0, 11.6] }));
    let exif = CaptureMeta {
        focal_length_mm: Some(40.0),
        sensor_width_mm: Some(22.0),
        sensor_width_basis: Some(SensorWidthBasis::ReadOut),
        ..CaptureMeta::default()
    };
    let found = finding(&told, &[file("plate", UHD, exif), file("cg", UHD, CaptureMeta::default())]);
    assert_eq!((found.verdict, found.reason.as_str()), (Verdict::Match, ""));
}

#[test]
fn nothing_told_is_not_given() {
    let found = finding(&sheet(&Value::Null, &Value::Null), &files(CaptureMeta::default()));
    assert_eq!((found.verdict, found.value), (Verdict::NotGiven, None));
    let plate_only = sheet(&json!({ "focal_length_mm": 32, "sensor_mm": [24.89, 13.12] }), &Value::Null);
    let found = finding(&plate_only, &files(CaptureMeta::default()));
    assert!(found.verdict == Verdict::NotGiven && found.reason.contains("cg.camera"), "{}", found.reason);
}
