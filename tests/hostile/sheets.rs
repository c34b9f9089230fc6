//! Sheets and reports of a size or depth that nobody writes.

use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use plateproof::sheet::MAX_SHEET_BYTES;
use serde_json::{Value, json};

use super::program::{Ended, run, run_under};

/// Address space of a run, KiB.
const LIMIT: &str = "ulimit -v 1500000";

/// Room for a sheet's text.
const FULL: usize = MAX_SHEET_BYTES as usize - 1024;

const HEAD: &str = r#"{ "format": "plateproof-shot/1", "shot": "SF_0970", "#;

const REST: &str = r#""mirrors": ["none.exr"], "cg": { "spheres": ["none.exr"] } }"#;

fn check(text: &str) -> Ended {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("shot.json"), text).unwrap();
    run_under(LIMIT, folder.path(), &["check", "shot.json"])
}

/// `piece` for every number, until the text is full or `most` are there.
fn many(most: usize, piece: impl Fn(usize) -> String) -> (usize, String) {
    let mut text = String::new();
    let mut count = 0;
    while count < most && text.len() < FULL {
        let separator = if count == 0 { "" } else { "," };
        write!(text, "{separator}{}", piece(count)).unwrap();
        count += 1;
    }
    (count, text)
}

#[test]
fn a_million_keys_are_too_large_a_sheet() {
    let keys = (0..1_000_000).map(|i| format!("\"k{i}\":0,")).collect::<Vec<_>>().concat();
    check(&format!("{HEAD}{keys}{REST}")).refused().says("larger than 4 MiB");
}

#[test]
fn as_many_keys_as_a_sheet_may_hold_are_looked_through() {
    let (count, keys) = many(usize::MAX, |i| format!("\"{i:x}\":0"));
    assert!(count > 400_000, "{count}");
    check(&format!("{HEAD}{keys},{REST}")).refused().says("unknown key");
    check(&format!("{HEAD}\"notes\":{{{keys}}},{REST}")).refused().says("none.exr");
}

#[test]
fn lists_as_long_as_a_sheet_may_hold_come_to_an_end() {
    let (count, names) = many(usize::MAX, |_| "\"a\"".to_owned());
    assert!(count > 1_000_000, "{count}");
    check(&format!("{HEAD}\"mirrors\":[{names}], \"cg\": {{\"spheres\": [\"a\"]}} }}")).refused();
    check(&format!("{HEAD}\"mirrors\":[\"a\"], \"cg\": {{\"spheres\": [{names}]}} }}")).refused();
    check(&format!("{HEAD}\"mirrors\":[{{\"bracket\":[{names}]}}], \"cg\": {{\"spheres\": [\"a\"]}} }}")).refused();
}

#[test]
fn a_hundred_thousand_brackets_are_no_sheet() {
    for (open, close) in [("[", "]"), ("{\"a\":", "}")] {
        let deep = format!("{}0{}", open.repeat(100_000), close.repeat(100_000));
        check(&format!("{HEAD}\"notes\":{{\"a\":{deep}}},{REST}")).refused().says("recursion limit");
        check(&deep).refused();
        check(&open.repeat(100_000)).refused();
    }
}

#[test]
fn numbers_and_names_beyond_sense_are_refused() {
    for camera in [
        r#""focal_length_mm": 1e999"#,
        r#""focal_length_mm": 1e308, "sensor_mm": [1e-308, 1e-308]"#,
        r#""focal_length_mm": -0.0, "sensor_mm": [24, 18]"#,
        r#""focal_length_mm": 99999999999999999999999999, "sensor_mm": [24, 18]"#,
    ] {
        check(&format!("{HEAD}\"camera\":{{{camera}}},{REST}")).refused();
    }
    let long = "\u{1b}[31m".escape_default().to_string().replace("\\u{1b}", "\\u001b").repeat(100_000);
    check(&format!("{{ \"format\": \"plateproof-shot/1\", \"shot\": \"{long}\", {REST}")).refused();
}

#[test]
fn hostile_reports_cost_a_summary_nothing_but_themselves() {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| fs::write(folder.path().join(format!("{name}.report.json")), text).unwrap();
    let (_, keys) = many(1_000_000, |i| format!("\"{i:x}\":0"));
    put("keys", &format!("{{\"format\":\"plateproof-report/1\",{keys}}}"));
    put("deep", &"[".repeat(100_000));
    put("escape", "{\"format\":\"\\u001b[31mred\"}");
    put("empty", "");
    for format in ["text", "json", "csv", "junit"] {
        let words = ["summary", folder.path().to_str().unwrap(), "--format", format];
        run_under(LIMIT, folder.path(), &words).refused();
    }
}

/// Nine hundred outlines of three hundred corners: what they cost is a part of what the shot costs without them.
#[test]
fn hundreds_of_drawn_regions_do_not_take_minutes() {
    let folder = tempfile::tempdir().unwrap();
    let shot = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match");
    for name in ["shot.json", "plate.exr", "mirror.exr", "cg.exr"] {
        fs::copy(shot.join(name), folder.path().join(name)).unwrap();
    }
    let path = folder.path().join("shot.json");
    let mut sheet: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    // Whole numbers of a multiplicative sequence, so that sides cross one another.
    let number = |i: u32, below: u32| (i.wrapping_mul(2_654_435_761) >> 8) % below;
    let corner = |i: u32| json!([number(2 * i, 360), number(2 * i + 1, 216)]);
    let outline = |r: u32| json!({ "polygon_px": (0..300).map(|i| corner(300 * r + i)).collect::<Vec<_>>() });
    let timed = |sheet: &Value| {
        fs::write(&path, sheet.to_string()).unwrap();
        let start = Instant::now();
        run(folder.path(), &["check", "shot.json", "--no-picture", "--again", "--out", "r"])
            .tame()
            .says("FINDINGS (CG minus");
        start.elapsed()
    };
    let without = timed(&sheet);
    sheet["mirrors"][0]["ignore"] = (0..900).map(outline).collect();
    let with = timed(&sheet);
    assert!(with < without + Duration::from_secs(10), "{with:?} against {without:?}");
    sheet["mirrors"][0]["ignore"] = (0..1000).map(outline).collect();
    sheet["mirrors"][0]["ignore"][0] = json!({ "polygon_px": (0..600).map(corner).collect::<Vec<_>>() });
    fs::write(&path, sheet.to_string()).unwrap();
    run(folder.path(), &["check", "shot.json"]).refused().says("corners in all");
}
