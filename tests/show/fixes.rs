//! The fix as a file: applied to the CG and checked again, the shot matches.

use std::fs;
use std::path::Path;

use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};
use plateproof::image::write::{ExrAttributes, SampleDepth, exr_bytes};
use serde_json::Value;

use super::{run, shots};

const SHOT: &str = "SF_0210.v003";

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

fn verdict(report: &Value, check: &str) -> String {
    let findings = report["findings"].as_array().unwrap();
    findings.iter().find(|f| f["check"] == check).unwrap()["verdict"].as_str().unwrap().to_owned()
}

fn slope(path: &Path) -> [f32; 3] {
    let text = fs::read_to_string(path).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    let node = document.descendants().find(|n| n.has_tag_name(("urn:ASC:CDL:v1.2", "Slope"))).unwrap();
    let numbers: Vec<f32> = node.text().unwrap().split_whitespace().map(|n| n.parse().unwrap()).collect();
    numbers.try_into().unwrap()
}

/// The CG sphere, each channel multiplied.
fn graded(from: &Path, to: &Path, slope: [f32; 3]) {
    let limits = Limits::default();
    let request = OpenRequest { shown_as: "cg", want_alpha: true, ..OpenRequest::of(from, "cg", &limits) };
    let frame = open(&request).unwrap();
    let rgb: Vec<[f32; 3]> = frame.rgb.iter().map(|p| [0, 1, 2].map(|c| p[c] * slope[c])).collect();
    let attributes = ExrAttributes { depth: SampleDepth::Float, ..ExrAttributes::default() };
    fs::write(to, exr_bytes(to, frame.size, frame.data, &rgb, frame.alpha.as_deref(), &attributes).unwrap()).unwrap();
}

/// The demo shot is 0.65 stop under, 0.15 stop too red and 0.30 stop short of blue by construction.
#[test]
fn the_written_gain_makes_exposure_and_colour_match() {
    let folder = shots(&["SF_0210"]);
    let root = folder.path();
    let sheet = "shots/SF_0210/shot.json";
    let check =
        |out: &str, more: &[&str]| run(root, &[&["check", sheet, "--no-picture", "--out", out], more].concat()).0;
    assert_eq!(check("before", &["--write-fixes"]), 1);

    let told = json(&root.join(format!("before/{SHOT}.report.json")))["warnings"].to_string();
    assert!(!told.contains("would remain"), "both gains together leave nothing: {told}");
    let fixes = json(&root.join(format!("before/{SHOT}.fixes.json")));
    let actions: Vec<&str> =
        fixes["actions"].as_array().unwrap().iter().map(|a| a["check"].as_str().unwrap()).collect();
    assert!(actions.contains(&"exposure") && actions.contains(&"colour-balance"), "{fixes}");
    let gain = slope(&root.join(format!("before/{SHOT}.fix.cc")));
    // What undoes the errors that were put in: luminance of a neutral unchanged by the tint, then 0.65 stop.
    let tint = [0.15_f64.exp2(), 1.0, (-0.30_f64).exp2()];
    let level = 0.65_f64.exp2() * (0.2126 * tint[0] + 0.7152 * tint[1] + 0.0722 * tint[2]);
    for channel in 0..3 {
        let off = (f64::from(gain[channel]) * tint[channel] / level).log2();
        assert!(off.abs() < 0.02, "channel {channel}: {off} stops");
    }

    let (before, after) = (root.join("shots/SF_0210/cg_sphere.v003.1001.exr"), root.join("graded.exr"));
    graded(&before, &after, gain);
    assert_eq!(check("after", &["--cg", after.to_str().unwrap(), "--write-fixes"]), 0);
    let report = json(&root.join(format!("after/{SHOT}.report.json")));
    assert_eq!((&*verdict(&report, "exposure"), &*verdict(&report, "colour-balance")), ("match", "match"));
    assert!(!root.join(format!("after/{SHOT}.fix.cc")).exists());
    assert_eq!(json(&root.join(format!("after/{SHOT}.fixes.json")))["actions"], Value::Array(Vec::new()));
}

/// An older correction must not outlive its report, nor may a file of somebody else be lost.
#[test]
fn files_beside_follow_the_report_and_never_replace_a_foreign_one() {
    let folder = shots(&["SF_0210"]);
    let root = folder.path();
    let words = ["check", "shots/SF_0210/shot.json", "--no-picture", "--out", "out"];
    let written = root.join(format!("out/{SHOT}.fix.cc"));
    assert_eq!(run(root, &[&words[..], &["--write-fixes"]].concat()).0, 1);
    assert!(written.exists());
    // Checked without fixes: no correction of an earlier run stays behind.
    assert_eq!(run(root, &words).0, 1);
    assert!(!written.exists());
    fs::write(&written, "<?xml version=\"1.0\"?>\n<ColorCorrection id=\"by hand\"/>\n").unwrap();
    assert_eq!(run(root, &[&words[..], &["--write-fixes"]].concat()).0, 2);
    assert!(fs::read_to_string(&written).unwrap().contains("by hand"));
}
