//! Hand-made reports with invented, plausible numbers for the tests of this module.

use serde_json::{Map, Value, json};

use super::{
    Concerns, ErrorNote, Finding, InputRecord, LightReport, REPORT_FORMAT, Remedy, Report, ShotVerdict, SphereReport,
    SphereRole, ToolNote, Verdict,
};

/// Writes a sample into the folder that `PLATEPROOF_WRITE_SAMPLES` names, if any: pages are to be looked at, and a
/// golden text is renewed by reading what was written here and copying it.
pub(crate) fn keep_for_looking(name: &str, bytes: &[u8]) {
    if let Ok(dir) = std::env::var("PLATEPROOF_WRITE_SAMPLES") {
        std::fs::write(format!("{dir}/{name}"), bytes).unwrap();
    }
}

/// A CG key turned too far counter-clockwise, half a stop over, a reference that drifted.
pub(crate) fn mismatch() -> Report {
    let mut report = base(ShotVerdict::Mismatch);
    report.findings = vec![direction(), exposure(), drift(), key_fill(), colour(), not_given("environment")];
    report.warnings = vec!["the mirror's reflectance is unknown: 0.7 +/- 0.35 stop is assumed".to_owned()];
    report.not_used = vec!["measured_lengths".to_owned()];
    report
}

/// Four checks, all within tolerance, one thanks to a waiver.
pub(crate) fn all_match() -> Report {
    let mut report = base(ShotVerdict::Match);
    let mut waived = finding("exposure", Verdict::Mismatch, Some((0.42, 0.03)), "stops", 0.25);
    waived.waived = Some(json!({"check": "exposure", "by": "AB", "why": "dusk grade", "until": "2027-01-31"}));
    waived.remedy = Remedy::told("multiply the CG by 0.75");
    report.findings =
        vec![finding("highlight-direction", Verdict::Match, Some((1.2, 0.3)), "deg", 5.0), key_fill(), waived];
    report
}

/// The key is clipped on the plate side.
pub(crate) fn unsure() -> Report {
    let mut report = base(ShotVerdict::Unsure);
    let mut bound = finding("key-fill-ratio", Verdict::Unsure, Some((-0.2, 0.15)), "stops", 0.33);
    bound.value_bound = Some("upper".to_owned());
    bound.reason = "the plate's key is clipped: 34 % of its illuminance is only a lower bound".to_owned();
    bound.remedy = Remedy::told("shoot the sphere again with the bracket two stops lower, or give an unclipped frame");
    report.findings = vec![bound, finding("exposure", Verdict::Match, Some((0.02, 0.04)), "stops", 0.25)];
    report
}

/// A frame that could not be read.
pub(crate) fn error() -> Report {
    let mut report = base(ShotVerdict::Error);
    report.spheres.clear();
    report.inputs.truncate(1);
    report.error = Some(ErrorNote {
        file: "SF_0420/cg_sphere.v012.1001.exr".to_owned(),
        cause: "the file ends after 312 of 2160 scan lines".to_owned(),
        remedy: "render or copy the frame again".to_owned(),
        candidates: Vec::new(),
    });
    report
}

fn base(verdict: ShotVerdict) -> Report {
    Report {
        format: REPORT_FORMAT.to_owned(),
        tool: ToolNote { name: "plateproof".to_owned(), version: "0.1.0".to_owned() },
        shot: "SF_0420".to_owned(),
        version: Some("v012".to_owned()),
        verdict,
        spheres: vec![sphere(SphereRole::Mirror, -41.9, 31.2), sphere(SphereRole::Cg, -30.4, 28.7)],
        findings: Vec::new(),
        inputs: vec![input("plate", "plate.1001.exr"), input("mirror", "sphere.1001.exr"), input("cg", "cg.v012.exr")],
        assumptions: vec![
            "key/fill compares what a small matt patch at the sphere's place receives, over patch normals within \
             75 deg of the line to the camera; it is not the ratio of the lamps on set"
                .to_owned(),
        ],
        warnings: Vec::new(),
        required_undecided: Vec::new(),
        not_used: Vec::new(),
        notes: None,
        sequence: None,
        provenance: None,
        error: None,
    }
}

fn sphere(role: SphereRole, azimuth_deg: f64, elevation_deg: f64) -> SphereReport {
    SphereReport {
        role,
        name: "m1".to_owned(),
        outline_px: [812.5, 604.0, 143.4, 143.2, 12.0],
        outline_px_sd: [0.05, 0.05, 0.04, 0.04, 3.0],
        found_by: if role == SphereRole::Cg { "alpha" } else { "search" }.to_owned(),
        unseen_outline_fraction: 0.08,
        horizontal_fov_deg: 42.5,
        horizontal_fov_from: "sheet".to_owned(),
        blind_half_angle_deg: 2.7,
        clipped_fraction: 0.002,
        invalid_fraction: 0.0,
        ignored_fraction: 0.0,
        surface_blur_deg: None,
        surface_blur_deg_sd: None,
        response_curve: None,
        lights: vec![light(azimuth_deg, elevation_deg, 0.71), rim()],
        no_single_key: false,
        key_fill_ratio: Some(4.1),
        key_fill_ratio_sd: Some(0.1),
        key_fill_ratio_bound: None,
        key_fill_stops: Some(2.04),
        key_fill_stops_sd: Some(0.04),
        key_fill_stops_bound: None,
        brightest_patch_deg: Some([-35.0, 28.0]),
        darkest_patch_deg: Some([70.0, -20.0]),
    }
}

fn light(azimuth_deg: f64, elevation_deg: f64, share: f64) -> LightReport {
    LightReport {
        azimuth_deg,
        azimuth_deg_sd: 0.25,
        elevation_deg,
        elevation_deg_sd: 0.15,
        direction_sd_deg: 0.2,
        angular_radius_deg: Some(3.8),
        angular_radius_deg_sd: Some(0.1),
        angular_radius_reason: None,
        illuminance: 4.47,
        illuminance_sd: 0.05,
        illuminance_bound: None,
        share,
        share_sd: 0.01,
        clipped: false,
        colour_rgb: Some([1.32, 1.0, 0.61]),
        cct_kelvin: Some(3200.0),
        cct_kelvin_sd: Some(40.0),
        duv: Some(0.001),
        duv_sd: Some(0.0005),
        colour_reason: None,
    }
}

fn rim() -> LightReport {
    LightReport {
        angular_radius_deg: None,
        angular_radius_deg_sd: None,
        angular_radius_reason: Some("smaller than the pixel blur".to_owned()),
        illuminance_bound: Some("lower".to_owned()),
        clipped: true,
        cct_kelvin: None,
        cct_kelvin_sd: None,
        duv: None,
        duv_sd: None,
        colour_rgb: None,
        colour_reason: Some("clipped".to_owned()),
        ..light(148.0, 12.5, 0.12)
    }
}

pub(crate) fn finding(check: &str, verdict: Verdict, value: Option<(f64, f64)>, unit: &str, tolerance: f64) -> Finding {
    Finding {
        check: check.into(),
        concerns: Concerns::Cg,
        mirror: Some("m1".to_owned()),
        verdict,
        value: value.map(|(value, _)| value),
        value_sd: value.map(|(_, sd)| sd),
        value_bound: None,
        unit: unit.to_owned(),
        tolerance,
        detail: Map::new(),
        reason: String::new(),
        remedy: Remedy::default(),
        waived: None,
    }
}

fn direction() -> Finding {
    let mut found = finding("highlight-direction", Verdict::Mismatch, Some((10.3, 0.3)), "deg", 5.0);
    found.detail.insert("azimuth_error_deg".to_owned(), Value::from(11.5));
    found.detail.insert("azimuth_error_deg_sd".to_owned(), Value::from(0.3));
    found.detail.insert("elevation_error_deg".to_owned(), Value::from(-2.5));
    found.remedy =
        Remedy::told("turn the CG key 11.5 deg clockwise seen from above (towards frame left) and raise it 2.5 deg");
    found
}

fn exposure() -> Finding {
    let mut found = finding("exposure", Verdict::Mismatch, Some((0.42, 0.03)), "stops", 0.25);
    found.remedy = Remedy::told("CG 0.42 stop over: multiply by 0.75");
    found
}

fn drift() -> Finding {
    let mut found = finding("reference-drift", Verdict::Mismatch, Some((-0.31, 0.02)), "stops", 0.25);
    found.concerns = Concerns::Reference;
    found.reason =
        "the sphere frame is 0.31 stop darker than the plate; the exposure finding is that much wider".into();
    found.remedy = Remedy::told("set \"correct_drift\": true for m1 if the iris changed between the two");
    found
}

fn key_fill() -> Finding {
    finding("key-fill-ratio", Verdict::Match, Some((0.08, 0.05)), "stops", 0.33)
}

fn colour() -> Finding {
    let mut found = finding("colour-balance", Verdict::Unsure, Some((0.09, 0.02)), "stops", 0.1);
    found.reason = "0.09 +/- 0.02 straddles the tolerance of 0.1".to_owned();
    found.remedy = Remedy::told("gain R 1.03 G 1.00 B 0.95 would centre it");
    found
}

fn not_given(check: &str) -> Finding {
    let mut found = finding(check, Verdict::NotGiven, None, "deg", 0.0);
    found.reason = "no environment picture in the sheet".to_owned();
    found.mirror = None;
    found
}

fn input(role: &str, file: &str) -> InputRecord {
    InputRecord {
        role: role.to_owned(),
        file: file.to_owned(),
        width: 4096,
        height: 2160,
        encoding: "scene-linear".to_owned(),
        encoding_from: "sheet".to_owned(),
        colour_space: "rec709".to_owned(),
        colour_space_from: "chromaticities".to_owned(),
        layer: (role == "cg").then(|| "beauty".to_owned()),
        decoded_fraction: 1.0,
        masked_pixels: if role == "cg" { 3 } else { 0 },
        // Another first digit for each file: the plate is not the mirror frame.
        blake3: format!("{:x}f1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262", role.len()),
        movie: None,
        raw: None,
    }
}
