//! A gate over a whole show: nothing that was to be checked passes unseen. Rules of this project, no outside source.

#![allow(clippy::unwrap_used, reason = "a test may end at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::{Value, json};

/// A shot that matches, with small frames.
const SHOT: &str = "golden/path_traced/sf_010_all_match";

/// A folder with `shots/a/shot.json`, whose shot SF_010 v001 matches.
struct Show(tempfile::TempDir);

impl Show {
    fn new() -> Self {
        let show = Self(tempfile::tempdir().unwrap());
        show.add("a", |_| {});
        show
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// One more shot in a folder of its own, its sheet changed.
    fn add(&self, folder: &str, change: impl FnOnce(&mut Value)) {
        let to = self.path("shots").join(folder);
        fs::create_dir_all(&to).unwrap();
        for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(SHOT)).unwrap() {
            let entry = entry.unwrap();
            fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
        fs::remove_file(to.join("truth.json")).unwrap();
        self.edit(folder, change);
    }

    fn edit(&self, folder: &str, change: impl FnOnce(&mut Value)) {
        let path = self.path("shots").join(folder).join("shot.json");
        let mut sheet: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
        change(&mut sheet);
        fs::write(path, sheet.to_string()).unwrap();
    }

    /// Runs the program: exit status, standard output, standard error.
    fn run(&self, words: &[&str]) -> (i32, String, String) {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("plateproof"));
        let Output { status, stdout, stderr } = command.current_dir(self.0.path()).args(words).output().unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (status.code().unwrap(), text(stdout), text(stderr))
    }

    fn check(&self, more: &[&str]) -> (i32, String, String) {
        self.run(&[&["check", "shots", "--no-picture", "--out", "r"], more].concat())
    }

    /// The summary's exit status, and all of its text on one line.
    fn summary(&self) -> (i32, String) {
        let (status, out, err) = self.run(&["summary", "r", "--all"]);
        (status, format!("{out}{err}").split_whitespace().collect::<Vec<_>>().join(" "))
    }

    fn reports(&self) -> Vec<String> {
        let names = fs::read_dir(self.path("r")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
        let mut names: Vec<String> = names.filter(|name| name.ends_with(".report.json")).collect();
        names.sort();
        names
    }
}

#[test]
fn a_failed_check_outranks_an_older_good_one() {
    let show = Show::new();
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.summary().0, 0);
    // A misspelt key after the version that matched.
    show.edit("a", |sheet| {
        sheet["cg"]["version"] = json!("v002");
        sheet["cg"]["spheers"] = json!([]);
    });
    assert_eq!(show.check(&[]).0, 2);
    assert_eq!(show.reports(), ["SF_010.v001.report.json", "SF_010.v002.report.json"]);
    let (status, text) = show.summary();
    assert!(status == 2 && text.contains("1 shot: 1 error"), "{text}");
    // No version at all, and an older one.
    for version in [json!(null), json!("v000")] {
        show.edit("a", |sheet| sheet["cg"]["version"] = version);
        assert_eq!(show.check(&[]).0, 2);
        let (status, text) = show.summary();
        assert!(status == 2 && text.contains("1 shot: 1 error"), "{text}");
    }
    show.edit("a", |sheet| {
        sheet["cg"]["version"] = json!("v002");
        sheet["cg"].as_object_mut().unwrap().remove("spheers");
    });
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.summary().0, 0, "{}", show.summary().1);
    assert_eq!(show.reports(), ["SF_010.v001.report.json", "SF_010.v002.report.json"], "errors go with their cause");
}

#[test]
fn what_ran_last_counts_though_its_version_is_older() {
    let show = Show::new();
    show.edit("a", |sheet| sheet["cg"]["version"] = json!("v005"));
    assert_eq!(show.check(&[]).0, 0);
    show.edit("a", |sheet| {
        sheet["cg"]["version"] = json!("v004");
        sheet["cg"]["spheres"][0]["frame"] = json!("nothing.exr");
    });
    assert_eq!(show.check(&[]).0, 2);
    let (status, text) = show.summary();
    assert!(status == 2 && text.contains("v004"), "{text}");
}

#[test]
fn a_shot_without_a_report_of_the_last_run_is_missed() {
    let show = Show::new();
    show.add("b", |sheet| sheet["shot"] = json!("SF_020"));
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.summary().0, 0);
    let report = show.path("r/SF_020.v001.report.json");
    let kept = fs::read(&report).unwrap();
    fs::remove_file(&report).unwrap();
    let (status, text) = show.summary();
    assert!(status == 2 && text.contains("the report of SF_020 v001 is gone"), "{text}");

    // As another run would have written it.
    let mut other: Value = serde_json::from_slice(&kept).unwrap();
    other["warnings"] = json!(["of another run"]);
    fs::write(&report, format!("{other:#}\n")).unwrap();
    let (status, text) = show.summary();
    assert!(
        status == 2 && text.contains("is not the report that the last run of ../shots/b/shot.json wrote"),
        "{text}"
    );

    // Where something foreign stands in its way the report cannot be written, and the older one is not enough.
    fs::write(&report, &kept).unwrap();
    fs::write(show.path("r/SF_020.v001.report.txt"), "a list of things to buy").unwrap();
    assert_eq!(show.check(&["--again"]).0, 2);
    let (status, text) = show.summary();
    assert!(
        status == 2
            && text.contains(
                "SF_020 v001 (../shots/b/shot.json) has a report of an earlier run, but the last run wrote none"
            ),
        "{text}"
    );
}

#[test]
fn a_part_that_never_ran_is_missed() {
    let show = Show::new();
    show.add("b", |sheet| sheet["shot"] = json!("SF_020"));
    assert_eq!(show.check(&["--part", "1/3"]).0, 0);
    let (status, text) = show.summary();
    assert!(status == 2 && text.contains("parts 2, 3 of 3 have not run"), "{text}");
    assert_eq!(show.check(&["--part", "3/3"]).0, 0);
    assert!(show.summary().1.contains("part 2 of 3 has not run"));
    assert_eq!(show.check(&["--part", "2/3"]).0, 0);
    assert_eq!(show.summary().0, 0, "{}", show.summary().1);

    let show = Show::new();
    assert_eq!(show.check(&["--part", "1/2"]).0, 0);
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.summary().0, 0, "the whole show has run since: {}", show.summary().1);
}

#[test]
fn one_shot_checked_again_does_not_make_the_others_forgotten() {
    let show = Show::new();
    show.add("b", |sheet| sheet["shot"] = json!("SF_020"));
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.run(&["check", "shots/a", "--no-picture", "--out", "r"]).0, 0);
    fs::remove_file(show.path("r/SF_020.v001.report.json")).unwrap();
    assert_eq!(show.summary().0, 2);
}

#[test]
fn sheets_that_cannot_be_read_are_named_by_their_paths() {
    let show = Show::new();
    for folder in ["b", "c"] {
        fs::create_dir_all(show.path("shots").join(folder)).unwrap();
        fs::write(show.path("shots").join(folder).join("shot.json"), "nothing of a sheet").unwrap();
    }
    let (status, out, _) = show.check(&[]);
    assert!(status == 2 && out.contains("3 shots: 2 error, 1 match"), "{out}");
    assert_eq!(show.reports().len(), 3, "{:?}", show.reports());
    let (status, text) = show.summary();
    assert!(status == 2 && text.contains("shots/b/shot") && text.contains("shots/c/shot"), "{text}");
    // Their reports go with them, though nobody knew what the shots are called.
    show.add("b", |sheet| sheet["shot"] = json!("SF_020"));
    show.add("c", |sheet| sheet["shot"] = json!("SF_030"));
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!(show.summary().0, 0, "{}", show.summary().1);
    assert_eq!(show.reports().len(), 3);
}

#[test]
fn a_broken_sheet_still_tells_which_shot_and_version_it_is() {
    let show = Show::new();
    let path = show.path("shots/a/shot.json");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen("\"camera\"", "// as noted on set\n\"camera\"", 1)).unwrap();
    let (status, out, _) = show.check(&[]);
    assert!(status == 2 && out.contains("has a comment"), "{out}");
    assert_eq!(show.reports(), ["SF_010.v001.report.json"]);
}

#[test]
fn mistyped_paths_and_pictures_are_wrong_use_and_no_shots() {
    let show = Show::new();
    let (status, out, err) = show.run(&["check", "shots/a", "shots/b.json", "--out", "r", "--no-picture"]);
    assert!(status == 2 && err.contains("shots/b.json: no such file or folder"), "{err}");
    assert!(out.contains("MATCH"), "the other shot is checked: {out}");
    assert_eq!(show.reports(), ["SF_010.v001.report.json"]);
    let (status, _, err) = show.run(&["check", "shots/a/plate.exr", "shots/a/cg.exr", "--out", "pictures"]);
    assert!(status == 2 && err.contains("plateproof new-shot") && err.contains("--plate"), "{err}");
    assert!(!show.path("pictures").exists());
}

/// An option that could not be obeyed is refused, not passed over.
#[test]
fn options_that_cannot_apply_are_wrong_use() {
    let show = Show::new();
    let still = "shots/a/plate.exr";
    for (words, told) in [
        (&["sphere", still, "--frame-number", "3"][..], "`frame_number` is for movies and for names with ####"),
        (&["sphere", still, "--timecode", "01:00:00:00"], "`timecode` is for movies"),
        (&["sphere", still, "--no-picture"], "--out <DIR>"),
        (&["check", "shots", "--no-picture", "--from-inside"], "cannot be used with"),
        (&["check", "shots", "--frame-number", "nosuch=3"], "--frame-number nosuch=…: it is plate, mirror, cg"),
        (&["check", "shots", "--timecode", "nosuch=01:00:00:00"], "--timecode nosuch=…"),
        (&["check", "shots", "--layer", "cg=a", "--layer", "cg=b"], "--layer cg=… is given twice"),
        (&["check", "shots", "--tolerance", "exposure=1", "--tolerance", "exposure=2"], "exposure=… is given twice"),
    ] {
        let (status, out, error) = show.run(words);
        assert!(status == 2 && (error.contains(told) || out.contains(told)), "{words:?}: {status} {out} {error}");
    }
    assert!(!show.path("plateproof-reports").exists());
    let (status, out, _) = show.check(&["--frame-number", "plate=3"]);
    assert!(status == 2 && out.contains("`frame_number` is for movies"), "{out}");
}

#[test]
fn a_file_in_place_of_the_command_gets_the_command_told() {
    let show = Show::new();
    for (word, meant) in [
        ("shots/a/shot.json", "did you mean `plateproof check shots/a/shot.json`?"),
        ("shots", "did you mean `plateproof check shots`?"),
        ("shots/a/plate.exr", "did you mean `plateproof new-shot shots/a/plate.exr`?"),
    ] {
        let (status, _, err) = show.run(&[word]);
        assert!(status == 2 && err.contains(meant), "{err}");
    }
    // A folder that is called like a command does not stand for it.
    fs::create_dir(show.path("demo")).unwrap();
    let (status, out, err) = show.run(&["demo", "--help"]);
    assert!(status == 0 && out.contains("Usage: plateproof demo"), "{out}{err}");
    let (status, _, err) = show.run(&["demo", "--bogus"]);
    assert!(status == 2 && !err.contains("did you mean `plateproof check"), "{err}");
}

#[cfg(unix)]
#[test]
fn nothing_that_looks_like_a_sheet_is_skipped() {
    let show = Show::new();
    let sheet = fs::read_to_string(show.path("shots/a/shot.json")).unwrap();
    fs::write(show.path("shots/a/typo.json"), sheet.replacen("format", "fromat", 1).replace("SF_010", "SF_011"))
        .unwrap();
    fs::write(show.path("shots/a/next.json"), sheet.replace("shot/1", "shot/2").replace("SF_010", "SF_012")).unwrap();
    std::os::unix::fs::symlink("gone.json", show.path("shots/a/link.json")).unwrap();
    assert!(Command::new("mkfifo").arg(show.path("shots/a/pipe.json")).status().unwrap().success());
    // Links to folders of shots; the names of such folders have dots, those of files are left alone.
    for name in ["SF_0420.v001", "SF_0421", "plate.exr", "notes.txt"] {
        std::os::unix::fs::symlink("gone", show.path("shots").join(name)).unwrap();
    }
    let (status, out, err) = show.check(&[]);
    assert!(status == 2 && out.contains("5 shots: 4 error, 1 match"), "{out}{err}");
    assert!(!err.contains("plate.exr") && !err.contains("notes.txt"), "{err}");
    for told in [
        "typo.json: unknown key `fromat`",
        "next.json: `format` is",
        "link.json: no such file",
        "pipe.json: not a file",
        "SF_0420.v001: is a link to something that does not exist",
        "SF_0421: is a link to something that does not exist",
    ] {
        assert!(err.contains(told), "{told}: {err}");
    }
}

/// What could not be read and is taken away is no error any more.
#[test]
fn the_error_of_a_sheet_goes_with_the_sheet() {
    let show = Show::new();
    fs::write(show.path("shots/a/broken.json"), "{ \"format\": \"plateproof-shot/1\", nothing of a sheet").unwrap();
    assert_eq!(show.check(&[]).0, 2);
    assert_eq!((show.summary().0, show.reports().len()), (2, 2));
    fs::remove_file(show.path("shots/a/broken.json")).unwrap();
    assert_eq!(show.check(&[]).0, 0);
    assert_eq!((show.summary().0, show.reports().len()), (0, 1), "{}", show.summary().1);
}

#[test]
fn a_match_says_what_it_does_not_prove() {
    let show = Show::new();
    let headline = || {
        let (_, out, _) = show.check(&[]);
        out.lines().skip(1).take_while(|line| !line.is_empty()).map(str::trim).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(headline(), "CG    all 5 CG checks are within tolerance");
    show.edit("a", |sheet| drop(sheet.as_object_mut().unwrap().remove("plate")));
    assert_eq!(headline(), "CG    all 5 CG checks are within tolerance; no plate was given");
    show.edit("a", |sheet| sheet["plate"] = json!("mirror.exr"));
    assert!(headline().ends_with("; the plate given is the mirror frame itself"), "{}", headline());
}

#[test]
fn required_checks_have_to_be_decided() {
    let show = Show::new();
    assert_eq!(show.check(&["--require", "exposure,highlight-direction"]).0, 0);
    let (status, out, _) = show.check(&["--require", "exposure,light-gains"]);
    assert!(status == 3 && out.contains("required and not decided: light-gains"), "{out}");
    assert_eq!(show.check(&[]).0, 0, "options count when it is asked whether a report still holds");
    let (status, out, _) = show.run(&["summary", "r", "--require", "light-gains"]);
    assert!(status == 3 && out.contains("required and not decided: light-gains"), "{out}");
    assert_eq!(show.run(&["summary", "r", "--require", "exposure"]).0, 0);
    show.edit("a", |sheet| sheet["require"] = json!(["light-gains"]));
    assert_eq!(show.check(&[]).0, 3, "a sheet may ask for it too");
    for command in [&["check", "shots"], &["summary", "r"]] {
        let (status, _, err) = show.run(&[&command[..], &["--require", "exposre"]].concat());
        assert!(status == 2 && err.contains("did you mean 'exposure'"), "{err}");
    }
}

#[test]
fn a_tolerance_as_good_as_none_needs_somebody_who_answers_for_it() {
    let show = Show::new();
    show.edit("a", |sheet| sheet["tolerances"] = json!({ "exposure": { "stops": 2.5 } }));
    assert_eq!(show.check(&[]).0, 0, "ten times the default");
    show.edit("a", |sheet| sheet["tolerances"] = json!({ "exposure": { "stops": 1e308 } }));
    let (status, out, _) = show.check(&[]);
    assert!(status == 2 && out.contains("more than 10 times the default"), "{out}");
    let waiver =
        |until: &str| json!([{ "check": "exposure", "by": "hk", "why": "a day for night shot", "until": until }]);
    show.edit("a", |sheet| sheet["waivers"] = waiver("2999-01-31"));
    assert_eq!(show.check(&[]).0, 0);
    show.edit("a", |sheet| sheet["waivers"] = waiver("2020-01-31"));
    assert_eq!(show.check(&[]).0, 2, "its date has passed");
}

#[test]
fn names_of_every_script_keep_apart() {
    let show = Show::new();
    let names = ["場面一", "場面二", "Ä1", "Ö1", "a b", "a_b"];
    for (place, name) in names.iter().enumerate() {
        show.add(&format!("n{place}"), |sheet| sheet["shot"] = json!(name));
    }
    let (status, out, _) = show.check(&[]);
    assert!(status == 0 && out.contains("7 shots: 7 match"), "{out}");
    assert_eq!(show.reports().len(), 7, "{:?}", show.reports());
    assert!(show.reports().contains(&"場面一.v001.report.json".to_owned()));
    assert!(show.reports().contains(&"a%20b.v001.report.json".to_owned()));
    assert_eq!(show.summary().0, 0, "{}", show.summary().1);
}

#[test]
fn what_cannot_be_seen_in_a_name_is_shown() {
    let show = Show::new();
    show.edit("a", |sheet| sheet["shot"] = json!("SF\u{200b}_010\u{ad}\u{e0041}"));
    let (status, out, _) = show.check(&[]);
    assert!(status == 0 && out.contains("SF\\u{200b}_010\\u{ad}\\u{e0041}"), "{out}");
    assert!(show.reports()[0].is_ascii(), "{:?}", show.reports());
}

#[test]
fn lines_come_one_by_one_and_a_part_without_shots_says_so() {
    use std::io::{BufRead, BufReader};
    let show = Show::new();
    for i in 0..40 {
        show.add(&format!("n{i:02}"), |sheet| sheet["shot"] = json!(format!("SF_1{i:02}")));
    }
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("plateproof"));
    command.current_dir(show.0.path()).args(["check", "shots", "--no-picture", "--out", "r", "--jobs", "1"]);
    let mut child = command.stdout(std::process::Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let first = lines.next().unwrap().unwrap();
    assert!(first.starts_with("match     SF_010.v001  all 5"), "{first}");
    let done = show.reports().len();
    assert!(done < 41, "the first line came before the last shot was done: {done}");
    assert!(child.try_wait().unwrap().is_none());
    assert_eq!(lines.count(), 42, "a line for every shot, an empty one and the counts");
    assert_eq!(child.wait().unwrap().code(), Some(0));

    let (status, out, err) = show.run(&["check", "shots/a", "--part", "2/2", "--out", "parts"]);
    assert!(status == 0 && out.contains("no shot falls to part 2 of 2") && err.is_empty(), "{out}{err}");
}

#[test]
fn the_plate_given_as_the_cg_is_named_and_not_the_mirror() {
    let show = Show::new();
    show.edit("a", |sheet| sheet["cg"]["spheres"][0]["frame"] = json!("plate.exr"));
    let (status, out, _) = show.check(&[]);
    assert!(status == 2 && out.contains("is given as the CG but is the plate"), "{out}");
    let report: Value = serde_json::from_slice(&fs::read(show.path("r").join(&show.reports()[0])).unwrap()).unwrap();
    assert!(report["error"]["file"].as_str().unwrap().ends_with("plate.exr"), "{report}");
}
