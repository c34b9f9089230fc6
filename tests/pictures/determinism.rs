//! The same input gives the same bytes, on any number of threads and on every run.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::{Path, PathBuf};

use assert_cmd::Command;

/// A shot with photographic noise, so that every stage has something to disagree about.
const SHOT: &str = "golden/path_traced/sf_090_light_extra";

/// Runs the program in a folder of its own and reads the report it wrote.
fn report(threads: &str) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let sheet = Path::new(env!("CARGO_MANIFEST_DIR")).join(SHOT).join("shot.json");
    let mut command = Command::cargo_bin("plateproof").unwrap();
    command.env("RAYON_NUM_THREADS", threads).arg("check").arg(sheet).arg("--no-picture").arg("--out");
    command.arg(folder.path()).assert().code(1);
    let written = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().path());
    let json: Vec<PathBuf> = written.filter(|path| path.to_string_lossy().ends_with(".report.json")).collect();
    assert_eq!(json.len(), 1, "{json:?}");
    std::fs::read(&json[0]).unwrap()
}

#[test]
fn threads_and_runs_do_not_change_a_byte_of_the_report() {
    let one = report("1");
    assert!(one.len() > 1000);
    assert!(one == report("2"), "two threads give another report than one");
    assert!(one == report("1"), "a second run gives another report");
}
