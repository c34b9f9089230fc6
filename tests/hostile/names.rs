//! Names of shots, files and folders that mean harm.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::program::run;

/// A sheet whose pictures do not exist.
fn sheet(shot: &str) -> Value {
    json!({ "format": "plateproof-shot/1", "shot": shot, "mirrors": ["no_sphere.exr"], "cg": { "spheres": ["no_cg.exr"] } })
}

/// Every file below a folder, links not followed.
fn files(folder: &Path) -> BTreeSet<PathBuf> {
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.is_symlink() {
            found.extend(files(&path));
        } else {
            found.insert(path);
        }
    }
    found
}

const NAMES: [&str; 14] = [
    "../escaped",
    "../../../../../../tmp/escaped",
    "/tmp/escaped",
    "..",
    ".",
    "...",
    "a/../../b",
    "..\\..\\escaped",
    "C:\\escaped",
    "-rf",
    "~root",
    "new\nline\u{1b}[31mred\u{7}",
    "\u{202e}txe.exr\u{0}",
    "$(touch escaped)`touch escaped`",
];

#[test]
fn no_name_of_shot_or_version_leaves_the_folder() {
    for name in NAMES {
        let top = tempfile::tempdir().unwrap();
        let here = top.path().join("work");
        fs::create_dir(&here).unwrap();
        let mut text = sheet(name);
        text["cg"]["version"] = name.into();
        fs::write(here.join("s.json"), text.to_string()).unwrap();
        run(&here, &["check", "s.json", "--out", "out"]).refused();
        let written = files(top.path());
        assert!(
            written.len() == 4
                && written.iter().all(|p| p.parent() == Some(&here.join("out")) || p.ends_with("s.json")),
            "{written:?}"
        );
        let report =
            fs::read_to_string(written.iter().find(|p| p.to_string_lossy().ends_with(".txt")).unwrap()).unwrap();
        assert!(!report.chars().any(|c| c.is_control() && c != '\n'), "{report:?}");
        let words = ["summary", "out", "--overview", "over", "--all"];
        run(&here, &words).refused();
    }
}

#[test]
fn options_and_frames_are_held_the_same_way() {
    for name in NAMES.into_iter().filter(|name| !name.contains('\0')) {
        let top = tempfile::tempdir().unwrap();
        let here = top.path().join("work");
        fs::create_dir(&here).unwrap();
        let given = |option: &str| format!("{option}={name}");
        let (shot, version) = (given("--shot"), given("--version-name"));
        let (mirror, cg) = (format!("--mirror=m1={name}"), format!("--cg=m1={name}"));
        run(&here, &["check", &mirror, &cg, &shot, &version, "--out", "out"]).refused();
        run(&here, &["sphere", "--out", "out", "--", name]).refused();
        run(&here, &["new-shot", "--", name]).tame();
        run(&here, &["summary", "--", name]).refused();
        run(&here, &["explain", "--", name]).refused();
        let written = files(top.path());
        let drafted = here.join("shot.json");
        assert!(written.iter().all(|path| path.starts_with(here.join("out")) || *path == drafted), "{written:?}");
    }
}

#[cfg(unix)]
#[test]
fn links_in_the_place_of_reports_lead_nowhere() {
    use std::os::unix::fs::symlink;
    let top = tempfile::tempdir().unwrap();
    let (here, out) = (top.path().join("work"), top.path().join("work/out"));
    fs::create_dir_all(&out).unwrap();
    fs::write(here.join("s.json"), sheet("SF_0980").to_string()).unwrap();
    let precious = top.path().join("precious");
    let absent = top.path().join("absent");
    for ending in ["json", "txt", "png"] {
        let place = out.join(format!("SF_0980.report.{ending}"));
        fs::write(&precious, "the crew list").unwrap();
        symlink(&precious, &place).unwrap();
        run(&here, &["check", "s.json", "--out", "out"]).refused().says("not written over");
        assert_eq!(fs::read_to_string(&precious).unwrap(), "the crew list", "{ending}");
        fs::remove_file(&place).unwrap();
        symlink(&absent, &place).unwrap();
        run(&here, &["check", "s.json", "--out", "out"]).refused();
        assert!(!absent.exists(), "{ending}");
        assert!(!place.is_symlink(), "{ending}: the report took the link's place, or none is drawn");
        fs::remove_dir_all(&out).unwrap();
        fs::create_dir(&out).unwrap();
    }
    // A link to an earlier report of the same shot: the link gives way, what it led to stays.
    let kept = top.path().join("kept.json");
    run(&here, &["check", "s.json", "--out", "out"]).refused();
    fs::rename(out.join("SF_0980.report.json"), &kept).unwrap();
    let before = fs::read(&kept).unwrap();
    symlink(&kept, out.join("SF_0980.report.json")).unwrap();
    run(&here, &["check", "s.json", "--out", "out"]).refused();
    assert_eq!(fs::read(&kept).unwrap(), before);
    assert!(!out.join("SF_0980.report.json").is_symlink());
}

#[cfg(unix)]
#[test]
fn folders_that_hold_themselves_come_to_an_end() {
    let top = tempfile::tempdir().unwrap();
    let shots = top.path().join("shots");
    fs::create_dir(&shots).unwrap();
    fs::write(shots.join("shot.json"), sheet("SF_0990").to_string()).unwrap();
    std::os::unix::fs::symlink(&shots, shots.join("again")).unwrap();
    std::os::unix::fs::symlink(shots.join("nothing"), shots.join("dangling.json")).unwrap();
    run(top.path(), &["check", "shots"]).refused();
    run(top.path(), &["new-shot", "shots"]).tame();
    run(top.path(), &["summary", "."]).refused();
    let reports = files(&top.path().join("plateproof-reports"));
    let of_shot = reports.iter().filter(|path| path.to_string_lossy().contains("SF_0990")).count();
    assert_eq!(of_shot, 2, "{reports:?}");
}

#[cfg(unix)]
#[test]
fn file_names_that_are_no_text_are_told_and_escaped() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let top = tempfile::tempdir().unwrap();
    for (name, shot) in [(b"\x1b[31mred.json".as_slice(), "A"), (b"line\nbreak.json", "B"), (b"\xff\xfe.json", "C")] {
        fs::write(top.path().join(OsStr::from_bytes(name)), sheet(shot).to_string()).unwrap();
    }
    run(top.path(), &["check", "."]).refused().says("3 shots: 3 error");
    run(top.path(), &["new-shot", "."]).tame();
}
