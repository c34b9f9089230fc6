use std::path::Path;

use serde_json::{Value, json};

use super::*;
use crate::check::FileNote;
use crate::image::{CaptureMeta, Size};
use crate::sheet::sheet_from_json;

fn sheet(camera: &Value, place: &Value) -> ShotSheet {
    let value = json!({
        "format": "plateproof-shot/1", "shot": "SF_0010", "mirrors": ["s.exr"], "cg": { "spheres": ["cg.exr"] },
        "camera": camera, "location": place
    });
    sheet_from_json(value, Path::new("test"), Path::new("")).unwrap()
}

/// Kiel on midsummer afternoon: the sun stands in the west-south-west.
const TIME: &str = "2026-06-21T17:20:00+02:00";

fn notes(heading_deg: f64) -> SunNotes {
    let place = json!({ "latitude_deg": 54.32, "longitude_deg": 10.14, "time": TIME });
    SunNotes::gather(&sheet(&json!({ "heading_deg": heading_deg }), &place), &[]).unwrap()
}

fn pose(heading_deg: f64) -> Pose {
    Pose { heading_deg: Some(heading_deg), heading_sd_deg: 3.0, tilt_deg: 0.0, tilt_sd_deg: 1.0 }
}

fn measured(direction: Vector3<f64>) -> Measured {
    let elevation: f64 = direction.y.asin();
    Measured {
        direction,
        from_view_deg: direction.x.atan2(-direction.z).to_degrees(),
        elevation_deg: Estimate::new(elevation.to_degrees(), 1.2),
        bearing_sd_deg: 1.2 / elevation.cos(),
        sd_deg: 1.2,
    }
}

/// The finding where the sun shines on a camera that really looked along `real_deg` at `real_time`.
fn finding(noted_deg: f64, real_deg: f64, real_time: &str, raised_deg: f64) -> Finding {
    let notes = notes(noted_deg);
    let real = CaptureTime::parse(real_time).unwrap().julian_date().unwrap();
    let mut shone = sun_position(real, notes.latitude_deg, notes.longitude_deg);
    shone.elevation_deg += raised_deg;
    let key = measured(sun_direction(&shone, real_deg));
    let sun = sun_position(notes.julian_date, notes.latitude_deg, notes.longitude_deg);
    let mut finding = blank_of_shot(&DOC, Concerns::Reference, 10.0);
    with_heading(&mut finding, &notes, &sun, &[], &key, &pose(noted_deg));
    finding
}

use crate::CaptureTime;

#[test]
fn the_sun_where_it_should_be_matches() {
    let finding = finding(214.0, 214.0, TIME, 0.0);
    assert_eq!(finding.verdict, Verdict::Match, "{finding:?}");
    assert!(finding.value.unwrap() < 1e-6);
}

#[test]
fn a_heading_noted_wrong_is_told_with_the_right_one() {
    let finding = finding(244.0, 214.0, TIME, 0.0);
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert!((finding.detail["heading_error_deg"].as_f64().unwrap() - 30.0).abs() < 1e-6);
    assert!(finding.remedy.words().contains("towards 214 deg, not 244 deg"), "{}", finding.remedy);
}

#[test]
fn daylight_saving_is_blamed_on_the_clock() {
    let finding = finding(214.0, 214.0, "2026-06-21T18:20:00+02:00", 0.0);
    // An hour is some 13 deg, which the compass's own doubt of 3 deg keeps from being beyond doubt.
    assert_eq!(finding.verdict, Verdict::Unsure);
    assert!(finding.reason.contains("an hour later"), "{}", finding.reason);
}

#[test]
fn a_key_at_another_height_is_not_the_sun() {
    let finding = finding(214.0, 180.0, TIME, -25.0);
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert!(finding.reason.contains("the key is not the sun"), "{}", finding.reason);
}

#[test]
fn at_night_no_key_is_the_sun() {
    let mut night = notes(0.0);
    night.julian_date += 0.3;
    let sun = sun_position(night.julian_date, night.latitude_deg, night.longitude_deg);
    let mut finding = blank_of_shot(&DOC, Concerns::Reference, 10.0);
    with_heading(&mut finding, &night, &sun, &[], &measured(Vector3::new(0.0, 0.6, 0.8)), &pose(0.0));
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert!(finding.reason.contains("below the horizon"), "{}", finding.reason);
}

#[test]
fn without_heading_the_fitting_one_is_offered_or_the_height_tells() {
    let notes = notes(0.0);
    let sun = sun_position(notes.julian_date, notes.latitude_deg, notes.longitude_deg);
    let ask = |raised: f64| {
        let shone = SunPosition { elevation_deg: sun.elevation_deg + raised, ..sun };
        let mut finding = blank_of_shot(&DOC, Concerns::Reference, 10.0);
        without_heading(&mut finding, &sun, &measured(sun_direction(&shone, 123.0)));
        finding
    };
    let open = ask(0.0);
    assert!(open.verdict == Verdict::Unsure && open.reason.contains("towards 123 deg"), "{}", open.reason);
    assert_eq!(ask(-30.0).verdict, Verdict::Mismatch);
}

/// A tilted camera sees the sun lower by its tilt; levelling undoes it.
#[test]
fn tilt_is_undone() {
    let (sin, cos) = 10.0_f64.to_radians().sin_cos();
    // Straight ahead and 10 deg up is the middle of the frame of a camera that looks 10 deg up.
    assert!((level(&Vector3::new(0.0, 0.0, -1.0), 10.0) - Vector3::new(0.0, sin, -cos)).norm() < 1e-12);
    // A sun in the south is right of a camera that looks east.
    let south = SunPosition { bearing_deg: 180.0, elevation_deg: 0.0 };
    assert!((sun_direction(&south, 90.0) - Vector3::x()).norm() < 1e-12);
}

#[test]
fn files_fill_in_what_the_sheet_leaves_out() {
    let meta = CaptureMeta {
        latitude_deg: Some(54.32),
        longitude_deg: Some(10.14),
        captured: CaptureTime::parse("2026:06:21 17:20:00").map(|time| time.or_offset(Some(7200.0))),
        heading_deg: Some(214.0),
        ..CaptureMeta::default()
    };
    let note = |meta| FileNote {
        role: "mirror",
        mirror: Some("m1".to_owned()),
        file: "s.jpg".to_owned(),
        size: Size { width: 4, height: 3 },
        content: String::new(),
        meta,
    };
    let empty = sheet(&Value::Null, &json!({}));
    let from_files = SunNotes::gather(&empty, &[note(meta.clone())]).unwrap();
    assert_eq!((from_files.julian_date, from_files.heading_deg), (notes(0.0).julian_date, Some(214.0)));
    assert_eq!(from_files.time_by, "s.jpg");
    let no_offset = CaptureMeta { captured: CaptureTime::parse("2026:06:21 17:20:00"), ..meta };
    assert!(SunNotes::gather(&empty, &[note(no_offset)]).unwrap_err().contains("time zone"));
    assert!(SunNotes::gather(&empty, &[]).unwrap_err().contains("location"));
}
