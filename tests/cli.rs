//! The program as a person or a render farm meets it: output, files and exit status.

#![allow(clippy::unwrap_used, reason = "a test may end at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};

use assert_cmd::cargo::cargo_bin_cmd;
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use serde_json::{Value, json};

/// Runs the program in `folder` and gives exit status, standard output and standard error.
fn run(folder: &Path, words: &[&str]) -> (i32, String, String) {
    let Output { status, stdout, stderr } =
        cargo_bin_cmd!("plateproof").current_dir(folder).args(words).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status.code().unwrap(), text(stdout), text(stderr))
}

fn temp() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// A sheet whose pictures do not exist.
fn sheet(shot: &str) -> Value {
    json!({ "format": "plateproof-shot/1", "shot": shot, "mirrors": ["no_sphere.exr"], "cg": { "spheres": ["no_cg.exr"] } })
}

fn write(folder: &Path, name: &str, value: &Value) -> PathBuf {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(&path, value.to_string()).unwrap();
    path
}

fn report(folder: &Path, name: &str) -> Value {
    let path = folder.join("plateproof-reports").join(name);
    serde_json::from_slice(&fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))).unwrap()
}

#[test]
fn help_of_every_command_teaches_by_example() {
    let here = temp();
    for words in [&["--help"][..], &["check", "--help"], &["sphere", "--help"], &["explain", "--help"]]
        .into_iter()
        .chain([&["demo", "--help"][..], &["schema", "--help"], &["new-shot", "--help"], &["set-light", "--help"]])
    {
        let (status, out, _) = run(here.path(), words);
        assert_eq!(status, 0, "{words:?}");
        assert!(out.contains("Examples:\n  plateproof "), "{words:?}: {out}");
    }
    assert_eq!(run(here.path(), &["--version"]).1.trim(), concat!("plateproof ", env!("CARGO_PKG_VERSION")));
}

/// The commands that `--help` lists.
fn commands(folder: &Path) -> Vec<String> {
    let (_, help, _) = run(folder, &["--help"]);
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let names = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    names.map(|line| line.split_whitespace().next().unwrap().to_owned()).filter(|name| name != "help").collect()
}

#[test]
fn every_shell_completes_every_command_and_its_options() {
    let here = temp();
    let commands = commands(here.path());
    assert!(commands.len() >= 10 && commands.contains(&"new-shot".to_owned()), "{commands:?}");
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let (status, script, err) = run(here.path(), &["completions", shell]);
        assert_eq!(status, 0, "{err}");
        for word in commands.iter().map(String::as_str).chain(["max-pixels", "version-name"]) {
            assert!(script.contains(word), "{shell} does not complete {word}");
        }
    }
}

#[test]
fn every_command_has_its_manual_page() {
    let here = temp();
    let page = |name: &str| fs::read_to_string(here.path().join("man/man1").join(name)).unwrap();
    for _ in 0..2 {
        let (status, out, err) = run(here.path(), &["manual", "--out", "man/man1"]);
        assert!(status == 0 && out.contains("plateproof-check.1"), "pages of an earlier run give way: {out}{err}");
    }
    // In a page a hyphen is written with a backslash before it.
    let all = page("plateproof.1");
    for command in commands(here.path()) {
        assert!(all.contains(&format!("plateproof\\-{}(1)", command.replace('-', "\\-"))), "{command}: {all}");
        let own = page(&format!("plateproof-{command}.1"));
        assert!(own.contains("\\-\\-help") && own.contains("Examples:"), "{command}: {own}");
    }
    assert!(page("plateproof-check.1").contains("\\-\\-max\\-pixels"));
    fs::write(here.path().join("man/man1/plateproof.1"), ".TH ferry 1").unwrap();
    let (status, _, err) = run(here.path(), &["manual", "--out", "man/man1"]);
    assert!(status == 2 && err.contains("not written by plateproof"), "{err}");
}

#[test]
fn wrong_use_is_status_two_and_says_what_is_wrong() {
    let here = temp();
    write(here.path(), "a/shot.json", &sheet("A"));
    write(here.path(), "b/shot.json", &sheet("B"));
    for (words, expected) in [
        (&[][..], "Usage"),
        (&["chek"], "check"),
        (&["check"], "give a shot sheet"),
        (&["check", "--mirror", "s.exr"], "--cg as well"),
        (&["check", "--cg", "c.exr"], "--mirror as well"),
        (&["check", "a", "b", "--cg", "a/shot.json"], "--cg applies to one shot"),
        (&["check", "a/shot.json", "--cg", "c.exr"], "--cg c.exr: no such file"),
        (&["check", "a/shot.json", "--fov-deg", "190"], "less than 180"),
        (&["check", "a/shot.json", "--fov-deg", "40", "--focal-length-mm", "30"], "cannot be used with"),
        (&["check", "a/shot.json", "--encoding", "srgb"], "for example mirror=srgb"),
        (&["check", "a/shot.json", "--outline", "560,300,96"], "for example mirror=812.5,604,143.2"),
        (&["check", "a/shot.json", "--outline", "mirror=560,300"], "takes centre x, centre y, radius"),
        (&["check", "a/shot.json", "--outline", "mirror=560,300"], "Usage: plateproof check"),
        (&["check", "a/shot.json", "--near", "560,300"], "takes centre x, centre y and a radius"),
        (&["check", "a/shot.json", "--near", "560,300,1"], "takes centre x, centre y and a radius"),
        (&["check", "a/shot.json", "--near", "miror=560,300,96"], "did you mean 'mirror'"),
        (&["check", "a", "b", "--near", "560,300,96"], "--near applies to one shot"),
        (&["check", "a/shot.json", "--tolerance", "exposure"], "for example exposure=0.2"),
        (&["check", ".", "--tolerance", "exposre=3"], "did you mean `exposure`?"),
        (&["check", ".", "--tolerance", "direction=200"], "at most 180 deg"),
        (&["check", ".", "--encoding", "mirror=slog33"], "did you mean 's-log3'"),
        (&["check", ".", "--colour-space", "cg=acescgg"], "did you mean 'acescg'"),
        (&["check", ".", "--encoding", "miror=srgb"], "did you mean 'mirror'"),
        (&["check", "nosuch"], "nosuch: no such file or folder"),
        (&["check", "a", "--out", "a/shot.json"], "is a file, not a folder"),
        (&["sphere"], "FRAME"),
        (&["sphere", "s.exr", "--outline", "1,2"], "--outline takes"),
        (&["sphere", "s.exr", "--near", "1,2"], "--near takes"),
        (&["sphere", "s.exr", "--near", "1,2,3", "--outline", "1,2,3"], "cannot be used with"),
        (&["sphere", "s.exr", "--reflectance", "0.5,0.5"], "--reflectance takes"),
        (&["explain", "exposur"], "did you mean 'exposure'"),
        (&["explain", "exposur"], "Usage: plateproof explain"),
        (&["schema", "picture"], "possible values"),
        (&["completions", "ferry"], "possible values"),
        (&["manual"], "--out"),
        (&["check", "a/shot.json", "--max-pixels", "0"], "--max-pixels"),
        (&["check", "a/shot.json", "--max-file", "4"], "not an amount of memory"),
    ] {
        let (status, out, err) = run(here.path(), words);
        assert_eq!(status, 2, "{words:?}: {out}{err}");
        assert!(err.contains(expected), "{words:?}: {err}");
        assert!(out.is_empty(), "{words:?}: {out}");
    }
    assert!(!here.path().join("plateproof-reports").exists(), "wrong use writes nothing");
}

/// Matt balls before a wall: round, and no mirrors.
fn balls(folder: &Path, name: &str, balls: &[[f64; 3]]) {
    let size = Size { width: 480, height: 270 };
    let pixel = |i: usize| {
        let at = [(i % size.width) as f64 + 0.5, (i / size.width) as f64 + 0.5];
        let cover = |[x, y, r]: &[f64; 3]| (r - (at[0] - x).hypot(at[1] - y) + 0.5).clamp(0.0, 1.0);
        [(0.08 + 0.5 * balls.iter().map(cover).fold(0.0, f64::max)) as f32; 3]
    };
    let rgb: Vec<[f32; 3]> = (0..size.width * size.height).map(pixel).collect();
    let data = DataWindow { x: 0, y: 0, width: size.width, height: size.height };
    write_exr(&folder.join(name), size, data, &rgb, None, &ExrAttributes::default()).unwrap();
}

const TWO_BALLS: [[f64; 3]; 2] = [[130.0, 135.0, 52.0], [350.0, 140.0, 44.0]];

#[test]
fn where_no_sphere_is_found_the_round_things_are_listed_to_paste_and_drawn() {
    let here = temp();
    balls(here.path(), "balls.exr", &TWO_BALLS);
    let (status, out, err) = run(here.path(), &["sphere", "balls.exr", "--out", "o"]);
    assert_eq!(status, 2, "{out}{err}");
    let pasted: Vec<&str> = err.lines().map(str::trim).filter(|line| line.starts_with("--near ")).collect();
    assert!(pasted.contains(&"--near 130,135,52") && pasted.contains(&"--near 350,140,44"), "{err}");
    assert!(out.contains("balls.candidates.png"), "{out}");
    assert!(fs::read(here.path().join("o/balls.candidates.png")).unwrap().starts_with(b"\x89PNG"));

    let option: Vec<&str> = pasted[0].split(' ').collect();
    let (status, out, err) = run(here.path(), &["sphere", "balls.exr", option[0], option[1], "--out", "o"]);
    assert_eq!(status, 0, "{out}{err}");
    assert!(out.contains("by near"), "{out}");
    assert!(!here.path().join("o/balls.candidates.png").exists(), "the question is answered");

    balls(here.path(), "wall.exr", &[]);
    let (status, _, err) = run(here.path(), &["sphere", "wall.exr", "--out", "o"]);
    assert_eq!(status, 2);
    assert!(err.contains("no outline stands out that could be offered"), "{err}");
    assert!(!here.path().join("o/wall.candidates.png").exists());
}

#[test]
fn a_check_without_a_sphere_lists_the_round_things_in_its_report() {
    let here = temp();
    balls(here.path(), "set.exr", &TWO_BALLS);
    let sound = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match/cg.exr");
    fs::copy(sound, here.path().join("cg.exr")).unwrap();
    let words = ["check", "--shot", "SF_0030", "--mirror", "set.exr", "--cg", "cg.exr"];
    let (status, out, err) = run(here.path(), &words);
    assert_eq!(status, 2, "{out}{err}");
    let report = report(here.path(), "SF_0030.report.json");
    let error = &report["error"];
    assert!(error["file"].as_str().unwrap().ends_with("set.exr"), "{report}");
    assert!(error["cause"].as_str().unwrap().contains("nor is there a mirror where the CG sphere is"), "{report}");
    assert!(error["remedy"].as_str().unwrap().contains("make sure that cg.exr is the CG of this shot"), "{report}");
    let candidates = report["error"]["candidates"].as_array().unwrap();
    assert!(candidates.contains(&json!("--near 130,135,52")), "{report}");
    assert!(out.lines().any(|line| line.trim() == "--near 130,135,52"), "{out}");
    let picture = here.path().join("plateproof-reports/SF_0030.candidates.png");
    assert!(picture.exists());

    fs::write(&picture, "my own").unwrap();
    let (status, _, err) = run(here.path(), &words);
    assert_eq!(status, 2);
    assert!(err.contains("is not written over"), "{err}");
    assert_eq!(fs::read(&picture).unwrap(), b"my own");
}

#[test]
fn where_neither_picture_shows_a_sphere_the_cg_is_named() {
    let here = temp();
    balls(here.path(), "set.exr", &TWO_BALLS);
    balls(here.path(), "cg.exr", &[]);
    let (status, out, _) = run(here.path(), &["check", "--shot", "SF_0030", "--mirror", "set.exr", "--cg", "cg.exr"]);
    assert_eq!(status, 2, "{out}");
    let error = &report(here.path(), "SF_0030.report.json")["error"];
    assert!(error["file"].as_str().unwrap().ends_with("cg.exr"), "{error}");
    assert!(
        error["cause"].as_str().unwrap().contains("without it, no sphere was found for certain in set.exr"),
        "{error}"
    );
}

#[test]
fn a_circle_alone_is_the_photographed_spheres_and_of_a_bracket_it_is_said_where_it_is_measured() {
    let here = temp();
    balls(here.path(), "set_1.exr", &TWO_BALLS);
    balls(here.path(), "set_2.exr", &TWO_BALLS);
    balls(here.path(), "cg.exr", &[]);
    let words =
        ["check", "--shot", "SF_0040", "--mirror", "m=set_1.exr", "--mirror", "m=set_2.exr", "--cg", "m=cg.exr"];
    run(here.path(), &[&words[..], &["--near", "128,130,55"]].concat());
    let report = report(here.path(), "SF_0040.report.json");
    assert!(report["error"]["file"].as_str().unwrap().ends_with("cg.exr"), "{report}");
    let assumptions = report["assumptions"].to_string();
    assert!(assumptions.contains("mirror m: near_px is measured in set_1.exr"), "{assumptions}");
}

#[test]
fn a_sheet_that_is_no_json_still_gets_its_report() {
    let here = temp();
    fs::write(here.path().join("SF_0999.json"), "nothing of a sheet").unwrap();
    let (status, out, _) = run(here.path(), &["check", "SF_0999.json"]);
    assert_eq!(status, 2);
    let report = report(here.path(), "SF_0999.report.json");
    assert_eq!(report["verdict"], "error");
    assert_eq!(report["error"]["file"], "SF_0999.json");
    assert!(report["error"]["cause"].as_str().unwrap().contains("not valid JSON"));
    assert!(out.contains("ERROR") && out.contains("SF_0999"), "{out}");
    assert!(!out.contains('\u{1b}'), "no colour outside a terminal");
    assert!(here.path().join("plateproof-reports/SF_0999.report.txt").exists());
}

#[test]
fn a_missing_picture_is_named_in_the_report() {
    let here = temp();
    write(here.path(), "shot.json", &sheet("SF_0010"));
    let (status, ..) = run(here.path(), &["check", "shot.json", "--version-name", "v003"]);
    assert_eq!(status, 2);
    let report = report(here.path(), "SF_0010.v003.report.json");
    assert_eq!(report["verdict"], "error");
    assert!(report["error"]["file"].as_str().unwrap().contains("no_"), "{report}");
}

#[test]
fn an_unknown_key_suggests_the_nearest_known_one() {
    let here = temp();
    let mut wrong = sheet("SF_0020");
    wrong["mirrors"] = json!([{ "frame": "s.exr", "reflectanc": [0.6, 0.6, 0.6] }]);
    write(here.path(), "shot.json", &wrong);
    let (status, out, _) = run(here.path(), &["check", "shot.json", "--out", "plateproof-reports"]);
    assert_eq!(status, 2);
    let report = report(here.path(), "SF_0020.report.json");
    assert!(report["error"]["cause"].as_str().unwrap().contains("`mirrors[0].reflectanc`"));
    assert!(report["error"]["remedy"].as_str().unwrap().contains("did you mean `reflectance`?"));
    assert!(out.contains("reflectance"), "{out}");
}

#[test]
fn one_bad_shot_does_not_stop_the_others() {
    let here = temp();
    write(here.path(), "shots/a/shot.json", &sheet("SF_0030"));
    fs::write(here.path().join("shots/b.shot.json"), "{ \"format\": ").unwrap();
    write(here.path(), "shots/c/shot.json", &sheet("SF_0040"));
    write(here.path(), "shots/show.json", &json!({ "format": "plateproof-shot/1", "camera": {} }));
    let (status, out, err) = run(here.path(), &["check", "shots"]);
    assert_eq!(status, 2);
    // The last has no name but its path.
    for (name, stem) in [("SF_0030", "SF_0030"), ("SF_0040", "SF_0040"), ("b.shot", "shots%2Fb.shot")] {
        assert_eq!(report(here.path(), &format!("{stem}.report.json"))["verdict"], "error");
        assert!(out.lines().any(|line| line.starts_with("error") && line.contains(name)), "{out}");
        assert!(err.contains(name), "{err}");
    }
    assert!(out.contains("3 shots: 3 error"), "{out}");
}

#[test]
fn two_shots_never_share_a_report() {
    let here = temp();
    write(here.path(), "a.json", &sheet("SF_0050"));
    let mut other = sheet("SF_0050");
    other["mirrors"] = json!(["no_other.exr"]);
    write(here.path(), "b.json", &other);
    let (status, out, err) = run(here.path(), &["check", "a.json", "b.json", "a.json"]);
    assert_eq!(status, 2);
    assert!(err.contains("would replace that of a.json"), "{err}");
    assert!(out.contains("2 shots"), "the same sheet twice is one shot: {out}");
    assert!(!report(here.path(), "SF_0050.report.json").to_string().contains("no_other"));
}

#[test]
fn a_folder_without_sheets_is_status_two() {
    let here = temp();
    fs::create_dir(here.path().join("empty")).unwrap();
    let (status, _, err) = run(here.path(), &["check", "empty"]);
    assert_eq!(status, 2);
    assert!(err.contains("no shot sheet"), "{err}");
}

#[test]
fn json_is_one_valid_report_per_line() {
    let here = temp();
    write(here.path(), "a.json", &sheet("SF_0060"));
    fs::write(here.path().join("broken.json"), "{").unwrap();
    let (status, out, _) = run(here.path(), &["check", "a.json", "broken.json", "--format", "json"]);
    assert_eq!(status, 2);
    let schema: Value = serde_json::from_str(&run(here.path(), &["schema", "report"]).1).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let reports: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(reports.iter().map(|r| r["shot"].as_str().unwrap()).collect::<Vec<_>>(), ["SF_0060", "broken"]);
    for report in &reports {
        let errors: Vec<String> = validator.iter_errors(report).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
    }
}

#[test]
fn options_alone_make_a_shot() {
    let here = temp();
    let words = ["check", "--plate", "SF_0070.plate.exr", "--mirror", "no_s.exr", "--cg", "no_c.exr", "--no-picture"];
    let (status, _, err) = run(here.path(), &words);
    assert!(status == 2 && err.contains("--plate SF_0070.plate.exr: no such file"), "{err}");
    assert!(!here.path().join("plateproof-reports").exists(), "a mistyped path makes no report");
    for name in ["SF_0070.plate.exr", "no_s.exr", "no_c.exr"] {
        fs::write(here.path().join(name), "no picture").unwrap();
    }
    assert_eq!(run(here.path(), &words).0, 2);
    assert_eq!(report(here.path(), "SF_0070.report.json")["verdict"], "error");
}

/// Copies the frames of a shot whose CG matches into a folder.
fn matching_frames(folder: &Path, golden: &str) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced").join(golden);
    fs::create_dir_all(folder).unwrap();
    for (name, to) in [("plate.exr", "plate.exr"), ("mirror.exr", "mirror.exr"), ("cg.exr", "cg_sphere.v003.exr")] {
        fs::copy(from.join(name), folder.join(to)).unwrap();
    }
}

#[test]
fn without_a_sheet_the_files_name_shot_and_version_and_no_other_shot_is_lost() {
    let here = temp();
    for folder in ["SF_0110", "SF_0140", "a/frames"] {
        matching_frames(&here.path().join(folder), "sf_010_all_match");
    }
    matching_frames(&here.path().join("b/frames"), "sf_020_all_match_long_lens");
    let check = |folder: &str, more: &[&str]| {
        let at = |name: &str| format!("{folder}/{name}");
        let (plate, mirror, cg) = (at("plate.exr"), at("mirror.exr"), at("cg_sphere.v003.exr"));
        let words = ["check", "--plate", &plate, "--mirror", &mirror, "--cg", &cg, "--no-picture"];
        run(here.path(), &[&words[..], more].concat())
    };
    assert_ne!(check("SF_0110", &[]).0, 2);
    assert_ne!(check("SF_0140", &[]).0, 2);
    for shot in ["SF_0110", "SF_0140"] {
        let report = report(here.path(), &format!("{shot}.v003.report.json"));
        assert_eq!((&report["shot"], &report["version"]), (&json!(shot), &json!("v003")));
    }
    // Nothing names these two but a folder that both have.
    assert_ne!(check("a/frames", &[]).0, 2);
    let before = report(here.path(), "frames.v003.report.json");
    let (status, _, err) = check("b/frames", &[]);
    assert!(status == 2 && err.contains("--shot NAME") && err.contains("a/frames/plate.exr"), "{err}");
    assert_eq!(report(here.path(), "frames.v003.report.json"), before);
    assert_ne!(check("b/frames", &["--shot", "other"]).0, 2);
    assert_ne!(check("a/frames", &[]).0, 2, "the same files again");
}

#[test]
fn a_part_prints_one_line_a_shot_however_few() {
    let here = temp();
    write(here.path(), "shots/a/shot.json", &sheet("SF_0030"));
    write(here.path(), "shots/b/shot.json", &sheet("SF_0040"));
    let lines = |part: &str| run(here.path(), &["check", "shots", "--part", part]);
    let (_, out, _) = lines("1/2");
    assert!(out.contains("1 shot: 1 error") && out.lines().count() <= 4, "{out}");
    let (status, out, err) = lines("7/9");
    assert!(status == 0 && err.is_empty() && out.contains("no shot falls to part 7 of 9"), "{out}{err}");
}

#[test]
fn a_list_says_where_reports_went_or_that_none_were_written() {
    let here = temp();
    write(here.path(), "a.json", &sheet("SF_0050"));
    write(here.path(), "b.json", &sheet("SF_0060"));
    let (_, out, _) = run(here.path(), &["check", "a.json", "b.json"]);
    assert!(out.contains("Reports in plateproof-reports"), "{out}");
    assert!(out.contains("no_cg.exr: no such file") || out.contains("no_sphere.exr: no such file"), "{out}");
    for name in ["SF_0050", "SF_0060"] {
        write(here.path(), &format!("others/{name}.report.json"), &json!({ "format": "something else" }));
    }
    let (status, out, _) = run(here.path(), &["check", "a.json", "b.json", "--out", "others"]);
    assert!(status == 2 && out.contains("No report was written"), "{out}");
}

#[test]
fn a_drafted_sheet_is_of_one_shot_that_is_there() {
    let here = temp();
    let (status, _, err) = run(here.path(), &["new-shot", "nosuch"]);
    assert!(status == 2 && err.contains("no such file"), "{err}");
    for folder in ["show/SF_0110", "show/SF_0140"] {
        matching_frames(&here.path().join(folder), "sf_010_all_match");
    }
    let (status, _, err) = run(here.path(), &["new-shot", "show"]);
    assert!(status == 2 && err.contains("2 shots"), "{err}");
    assert!(!here.path().join("shot.json").exists() && !here.path().join("show/shot.json").exists());
}

#[test]
fn words_of_the_trade_are_explained() {
    let here = temp();
    for (words, name) in [
        (&["explain", "direction"][..], "highlight-direction"),
        (&["explain", "white", "balance"], "colour-balance"),
        (&["explain", "FOV"], "field-of-view"),
        (&["explain", "Exposure"], "exposure"),
        (&["explain", "encodings"], "encodings"),
    ] {
        let (status, out, err) = run(here.path(), words);
        assert!(status == 0 && out.starts_with(&format!("{name}:")), "{words:?}: {out}{err}");
    }
    let (status, _, err) = run(here.path(), &["explain", "zebra"]);
    assert!(status == 2 && !err.contains("did you mean"), "{err}");
}

#[test]
fn wrong_values_in_a_sheet_are_answered_by_how_to_write_them() {
    let here = temp();
    for (key, value, expected) in [
        ("tolerances", json!({ "exposure": 0.25 }), "{ \"stops\": 0.25 }"),
        ("mirrors", json!([{ "frame": "s.exr", "diameter": 250 }]), "\"diameter_mm\": 250"),
        ("mirrors", json!([{ "frame": "s.exr", "reflectance": 62 }]), "[0.62, 0.60, 0.56]"),
    ] {
        let mut wrong = sheet("SF_0020");
        wrong[key] = value;
        write(here.path(), "shot.json", &wrong);
        let (status, ..) = run(here.path(), &["check", "shot.json"]);
        let remedy = report(here.path(), "SF_0020.report.json")["error"]["remedy"].to_string();
        assert!(status == 2 && remedy.replace("\\\"", "\"").contains(expected), "{remedy}");
    }
    fs::write(
        here.path().join("win.json"),
        "{ \"format\": \"plateproof-shot/1\", \"shot\": \"A\", \"plate\": \"c:\\p.exr\" }",
    )
    .unwrap();
    run(here.path(), &["check", "win.json"]);
    let remedy = &report(here.path(), "A.report.json")["error"]["remedy"];
    assert!(remedy.as_str().unwrap().contains("write / instead"), "{remedy}");
}

#[test]
fn a_foreign_file_is_never_written_over() {
    let here = temp();
    write(here.path(), "shot.json", &sheet("SF_0080"));
    let foreign = here.path().join("plateproof-reports/SF_0080.report.json");
    write(here.path(), "plateproof-reports/SF_0080.report.json", &json!({ "format": "something else" }));
    let (status, _, err) = run(here.path(), &["check", "shot.json"]);
    assert_eq!(status, 2);
    assert!(err.contains("SF_0080.report.json"), "{err}");
    assert_eq!(fs::read_to_string(foreign).unwrap(), r#"{"format":"something else"}"#);
}

#[test]
fn explain_lists_and_explains() {
    let here = temp();
    let (status, list, _) = run(here.path(), &["explain"]);
    assert_eq!(status, 0);
    for name in [
        "highlight-direction",
        "key-fill-ratio",
        "exposure",
        "colour-balance",
        "reference-drift",
        "verdicts",
        "directions",
    ] {
        assert!(list.contains(name), "{list}");
        let (status, text, _) = run(here.path(), &["explain", name]);
        assert_eq!(status, 0);
        assert!(text.starts_with(name), "{text}");
    }
    let (_, text, _) = run(here.path(), &["explain", "exposure"]);
    assert!(text.contains("0.25 stops") && text.contains("no source"), "{text}");
}

#[test]
fn every_schema_is_a_draft_2020_12_schema() {
    let here = temp();
    for of in ["report", "sheet", "sphere", "set-light"] {
        let (status, out, _) = run(here.path(), &["schema", of]);
        assert_eq!(status, 0);
        let schema: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{of}");
        jsonschema::draft202012::meta::validate(&schema).unwrap();
    }
}

#[test]
fn a_sphere_that_cannot_be_measured_says_so_in_json() {
    let here = temp();
    let words = ["sphere", "missing.exr", "--format", "json", "--out", "spheres"];
    let (status, out, err) = run(here.path(), &words);
    assert_eq!(status, 2, "{err}");
    let document: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(document["format"], "plateproof-sphere/1");
    assert!(document["error"]["file"].as_str().unwrap().contains("missing.exr"));
    let written = fs::read_to_string(here.path().join("spheres/missing.sphere.json")).unwrap();
    assert_eq!(written, out);
    let schema: Value = serde_json::from_str(&run(here.path(), &["schema", "sphere"]).1).unwrap();
    assert!(jsonschema::draft202012::new(&schema).unwrap().is_valid(&document));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let here = temp();
    write(here.path(), "a.json", &sheet("SF_0090"));
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("plateproof"))
        .current_dir(here.path())
        .args(["check", "a.json", "--format", "json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(2), "the verdict's own status");
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(!err.contains("panic") && !err.to_lowercase().contains("pipe"), "{err}");
    assert!(here.path().join("plateproof-reports/SF_0090.report.json").exists());
}

#[test]
fn a_drafted_sheet_is_checked_and_never_replaced_unasked() {
    let here = temp();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match");
    fs::create_dir(here.path().join("SF_0990")).unwrap();
    for name in ["plate.exr", "mirror.exr", "cg.exr"] {
        fs::copy(from.join(name), here.path().join("SF_0990").join(name)).unwrap();
    }
    let (status, out, err) = run(here.path(), &["new-shot", "SF_0990"]);
    assert_eq!(status, 0, "{out}{err}");
    assert!(out.contains("TO ASK THE CREW FOR") && out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let (status, ..) = run(here.path(), &["check", "SF_0990", "--no-picture"]);
    assert!(status != 2 && here.path().join("plateproof-reports/SF_0990.report.json").exists(), "{status}");
    let (status, _, err) = run(here.path(), &["new-shot", "SF_0990"]);
    assert!(status == 2 && err.contains("--overwrite"), "{err}");
    assert_eq!(run(here.path(), &["new-shot", "SF_0990", "--overwrite"]).0, 0);
    fs::write(here.path().join("mine.json"), "{}").unwrap();
    let (status, _, err) = run(here.path(), &["new-shot", "SF_0990", "--out", "mine.json", "--overwrite"]);
    assert!(status == 2 && err.contains("not a shot sheet"), "{err}");
    fs::remove_file(here.path().join("SF_0990/cg.exr")).unwrap();
    assert_eq!(run(here.path(), &["new-shot", "SF_0990", "--overwrite"]).0, 3, "a sheet that check would not take yet");
}

/// A golden shot's sheet without its CG, its files named where they are.
fn sheet_of_set(folder: &Path, golden: &str) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced").join(golden);
    let mut sheet: Value = serde_json::from_slice(&fs::read(from.join("shot.json")).unwrap()).unwrap();
    sheet.as_object_mut().unwrap().remove("cg");
    sheet["plate"]["frame"] = json!(from.join("plate.exr"));
    sheet["mirrors"][0]["bracket"] = json!([from.join("mirror.exr")]);
    write(folder, "shot.json", &sheet);
}

#[test]
fn the_light_of_the_set_needs_no_cg_and_is_written_over_nothing_foreign() {
    let here = temp();
    sheet_of_set(here.path(), "sf_030_key_turned");
    let (status, out, err) = run(here.path(), &["set-light", "shot.json", "--out", "light"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.contains("DistantLight") && out.contains("% measured"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let names = ["exr", "dome.exr", "usda", "json"].map(|ending| format!("light/SF_030.set-light.{ending}"));
    assert!(names.iter().all(|name| here.path().join(name).is_file()));
    let (status, out, _) = run(here.path(), &["set-light", "shot.json", "--out", "light", "--format", "json"]);
    assert_eq!(status, 0, "its own files may be replaced");
    let record: Value = serde_json::from_str(&out).unwrap();
    let schema = plateproof::set_light::set_light_schema();
    assert!(jsonschema::is_valid(&schema, &record), "{record}");
    let written: Value = serde_json::from_slice(&fs::read(here.path().join(&names[3])).unwrap()).unwrap();
    assert_eq!(record, written);
    for name in names {
        fs::write(here.path().join(&name), "mine").unwrap();
        let (status, _, err) = run(here.path(), &["set-light", "shot.json", "--out", "light"]);
        assert!(status == 2 && err.contains("not written over"), "{name}: {err}");
        assert_eq!(fs::read(here.path().join(&name)).unwrap(), b"mine");
        fs::remove_file(here.path().join(&name)).unwrap();
    }
}

#[test]
fn one_bad_shot_does_not_keep_the_light_of_the_others() {
    let here = temp();
    sheet_of_set(here.path(), "sf_030_key_turned");
    write(here.path(), "a_bad.json", &sheet("SF_0001"));
    let (status, out, err) = run(here.path(), &["set-light", ".", "--format", "json"]);
    assert_eq!(status, 2);
    assert!(err.contains("no_sphere.exr"), "{err}");
    let records: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(records.len(), 2);
    assert_eq!((records[0]["shot"].as_str(), records[1]["shot"].as_str()), (Some("SF_0001"), Some("SF_030")));
    assert!(records[0]["error"]["file"].is_string() && records[1]["error"].is_null(), "{out}");
    assert!(here.path().join("plateproof-set-light/SF_030.set-light.usda").is_file());
}
