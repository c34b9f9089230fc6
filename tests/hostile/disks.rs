//! Disks that take nothing, or not enough.

use std::fs;
use std::path::Path;

use serde_json::json;

use super::program::{run, run_under};

/// No file takes a single byte, as on a full disk; the signal that goes with it is ignored.
const FULL: &str = "trap '' XFSZ; ulimit -f 0";

fn write_sheet(folder: &Path) {
    let sheet = json!({ "format": "plateproof-shot/1", "shot": "SF_0995", "mirrors": ["none.exr"],
        "cg": { "spheres": ["none.exr"] } });
    fs::write(folder.join("s.json"), sheet.to_string()).unwrap();
}

fn names(folder: &Path) -> Vec<String> {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect()
}

#[test]
fn a_disk_that_fills_up_keeps_the_earlier_report_whole() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    write_sheet(here);
    run(here, &["check", "s.json", "--out", "out"]).refused();
    let read = |ending: &str| fs::read(here.join(format!("out/SF_0995.report.{ending}"))).unwrap();
    let before = [read("json"), read("txt")];
    run_under(FULL, here, &["check", "s.json", "--out", "out"]).refused().says("plateproof: out/");
    assert_eq!([read("json"), read("txt")], before);
    assert_eq!(names(&here.join("out")).len(), 3, "two reports and the manifest; nothing half written stays");
}

#[test]
fn every_command_that_writes_says_when_it_cannot() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    write_sheet(here);
    for words in [
        &["demo", "--out", "demo"][..],
        &["check", "s.json", "--out", "out"],
        &["manual", "--out", "man"],
        &["check", "s.json", "--out", "/dev/null/reports"],
        &["check", "s.json", "--out", "s.json"],
        &["check", "s.json", "--out", "/proc/reports"],
        &["demo", "--out", "/proc/demo"],
        &["manual", "--out", "/proc/man"],
    ] {
        let ended = run_under(FULL, here, words);
        ended.refused();
        assert!(ended.err.contains("plateproof: "), "{words:?}: {}", ended.err);
    }
}

#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_named() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let (here, out) = (folder.path(), folder.path().join("out"));
    write_sheet(here);
    fs::create_dir(&out).unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(out.join("probe"), "").is_ok() {
        println!("skipped: whoever runs this test may write everywhere, so permissions keep nothing out");
        return;
    }
    run(here, &["check", "s.json", "--out", "out"]).refused().says("out");
    assert!(names(&out).is_empty());
    fs::set_permissions(&out, fs::Permissions::from_mode(0o755)).unwrap();
}

/// Standard output may be full too.
#[test]
fn a_full_standard_output_is_status_two() {
    if !Path::new("/dev/full").exists() {
        println!("skipped: this system has no /dev/full");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for words in [&["explain"][..], &["schema", "sheet"], &["completions", "bash"], &["--help"]] {
        let ended = run_under("exec >/dev/full", folder.path(), words);
        assert!(!ended.err.contains("panicked"), "{words:?}: {}", ended.err);
        if words != ["--help"] {
            assert_eq!(ended.status, 2, "{words:?}");
        }
    }
}
