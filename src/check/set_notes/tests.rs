use std::path::Path;

use serde_json::json;

use super::*;
use crate::base::units::Estimate;
use crate::image::{CaptureMeta, Size};
use crate::sheet::sheet_from_json;

fn sheet(stops: f64) -> ShotSheet {
    let value = json!({
        "format": "plateproof-shot/1", "shot": "SF_0010", "plate": "p.exr",
        "mirrors": [{ "name": "m1", "bracket": [{ "frame": "s1.exr", "exposure_stops": stops }, { "frame": "s2.exr", "exposure_stops": 0 }] }],
        "cg": { "spheres": ["cg.exr"] }, "camera": { "focal_length_mm": 32 },
        "location": { "time": "2026-06-21T17:20:00+02:00" }
    });
    sheet_from_json(value, Path::new("test"), Path::new("")).unwrap()
}

fn meta(time_s: f64, captured: &str) -> CaptureMeta {
    CaptureMeta {
        exposure_time_s: Some(time_s),
        f_number: Some(2.8),
        iso: Some(800.0),
        focal_length_mm: Some(32.0),
        camera: Some("cam A".to_owned()),
        lens: Some("prime 32".to_owned()),
        lens_serial: Some("1234".to_owned()),
        captured: CaptureTime::parse(captured),
        ..CaptureMeta::default()
    }
}

fn files() -> [FileNote; 3] {
    let note = |role, mirror: Option<&str>, file: &str, meta| FileNote {
        role,
        mirror: mirror.map(str::to_owned),
        file: file.to_owned(),
        size: Size { width: 4, height: 3 },
        content: format!("content of {file}"),
        meta,
    };
    [
        note("plate", None, "p.exr", meta(1.0 / 48.0, "2026:06:21 17:10:00")),
        note("mirror", Some("m1"), "s1.exr", meta(1.0 / 192.0, "2026:06:21 17:24:00")),
        note("mirror", Some("m1"), "s2.exr", meta(1.0 / 48.0, "2026:06:21 17:25:00")),
    ]
}

#[test]
fn a_sensor_noted_on_its_side_is_told() {
    let noted = |sensor_mm: [f64; 2], size: [usize; 2]| {
        let mut sheet = sheet(-2.0);
        sheet.camera.as_mut().unwrap().sensor_mm = Some(sensor_mm);
        let mut files = files();
        for file in &mut files {
            file.size = Size { width: size[0], height: size[1] };
        }
        finding(&sheet, &files).reason.contains("noted")
    };
    assert!(noted([14.0, 24.89], [1920, 1080]));
    assert!(!noted([24.89, 14.0], [1920, 1080]));
    // A camera turned on its side records an upright picture.
    assert!(!noted([14.0, 24.89], [1080, 1920]));
    assert!(!noted([24.89, 18.66], [2048, 858]));
}

#[test]
fn one_picture_in_two_places_is_named_but_for_a_plate_that_holds_the_sphere() {
    let with_cg = |content: &str| {
        let mut files = files().to_vec();
        let cg = FileNote { role: "cg", file: "cg.exr".to_owned(), content: content.to_owned(), ..files[1].clone() };
        files.push(cg);
        files
    };
    let copied = finding(&sheet(-2.0), &with_cg("content of s1.exr"));
    assert_eq!(copied.verdict, Verdict::Mismatch);
    assert!(copied.reason.contains("cg.exr (cg) and s1.exr (mirror) are the same picture"), "{}", copied.reason);
    assert_eq!(finding(&sheet(-2.0), &with_cg("its own")).verdict, Verdict::Match);
    let mut in_plate = files();
    in_plate[1].content = in_plate[0].content.clone();
    assert_eq!(finding(&sheet(-2.0), &in_plate).verdict, Verdict::Match);
    let mut bracket = files();
    bracket[2].content = bracket[1].content.clone();
    assert!(finding(&sheet(-2.0), &bracket).reason.contains("s2.exr (mirror) and s1.exr (mirror)"));
}

fn finding(sheet: &ShotSheet, files: &[FileNote]) -> Finding {
    let open = |_: &crate::sheet::ImageSpec, _: &str| unreachable!("no further file is needed");
    SetNotes.run(&ShotEvidence { files, ..ShotEvidence::of_sheet(sheet, &open) }).unwrap().findings.remove(0)
}

#[test]
fn notes_that_agree_are_silent() {
    let finding = finding(&sheet(-2.0), &files());
    assert_eq!((finding.verdict, finding.value), (Verdict::Match, Some(0.0)), "{}", finding.reason);
    assert!(finding.detail["compared"].as_u64().unwrap() > 10);
}

#[test]
fn each_contradiction_is_found_and_named() {
    let only = |change: &dyn Fn(&mut [FileNote; 3]), expected: &str| {
        let mut changed = files();
        change(&mut changed);
        let finding = finding(&sheet(-2.0), &changed);
        assert_eq!(finding.verdict, Verdict::Mismatch, "{expected}");
        assert!(finding.reason.contains(expected), "{expected}: {}", finding.reason);
        assert!(!finding.remedy.is_empty());
    };
    only(&|f| f[1].meta.exposure_time_s = Some(1.0 / 96.0), "s1.exr: -2.00 stops against p.exr in the sheet, -1.00");
    only(&|f| f[0].meta.captured = CaptureTime::parse("2026:06:21 12:10:00"), "s1.exr was taken 5.2 hours after p.exr");
    only(
        &|f| f[2].meta.captured = CaptureTime::parse("2026:06:21 17:50:00"),
        "s2.exr was taken 26 minutes after s1.exr",
    );
    only(&|f| f[1].meta.captured = CaptureTime::parse("2026:06:17 17:24:00"), "4 days before");
    only(&|f| f[2].meta.focal_length_mm = Some(35.0), "s2.exr was shot at 35.0 mm, p.exr at 32.0 mm");
    only(&|f| f[1].meta.lens_serial = Some("999".to_owned()), "lens serial number: 999 in s1.exr, 1234 in p.exr");
    only(&|f| f[1].meta.camera = Some("cam B".to_owned()), "camera: cam B in s1.exr");
}

#[test]
fn a_bracket_without_plate_settings_is_held_against_itself() {
    let mut without = files();
    without[0].meta = CaptureMeta::default();
    assert_eq!(finding(&sheet(-2.0), &without).verdict, Verdict::Match);
    let off = finding(&sheet(-1.0), &without);
    assert!(off.reason.contains("s2.exr: +1.00 stops against s1.exr in the sheet, +2.00"), "{}", off.reason);
}

#[test]
fn light_that_changed_is_told_by_the_background() {
    let drift = |uneven_stops: f64, blue: f64| Drift {
        stops: Estimate::new(0.0, 0.01),
        red_green_stops: Estimate::new(0.0, 0.01),
        blue_green_stops: Estimate::new(blue, 0.01),
        shift: None,
        uneven_stops,
        registration: None,
        disputed: false,
        focus: None,
        featureless: false,
        used_fraction: 0.8,
        metadata_stops: None,
        consistent_with_metadata: None,
        warnings: Vec::new(),
    };
    let told = |drift: &Drift| {
        let mut notes = Notes::default();
        notes.light("m1", drift, 0.1);
        notes.finding()
    };
    assert_eq!(told(&drift(0.03, 0.05)).verdict, Verdict::Match);
    assert!(told(&drift(0.3, 0.0)).reason.contains("under different lights from the plate"));
    assert!(told(&drift(0.03, 0.4)).reason.contains("changed colour"));
}

#[test]
fn files_that_say_nothing_are_not_given() {
    let mut silent = files();
    for file in &mut silent {
        file.meta = CaptureMeta::default();
    }
    assert_eq!(finding(&sheet(-2.0), &silent).verdict, Verdict::NotGiven);
}
