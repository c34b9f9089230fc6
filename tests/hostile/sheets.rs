//! Sheets and reports of a size or depth that nobody writes.

use std::fmt::Write;
use std::fs;

use plateproof::sheet::MAX_SHEET_BYTES;

use super::program::{Ended, run_under};

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
