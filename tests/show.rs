//! Many shots as a lead and a render farm meet them: order, resume, parts, kills, summaries.

#![allow(clippy::unwrap_used, reason = "a test may end at the first surprise")]

#[path = "show/fixes.rs"]
mod fixes;
#[path = "show/movies.rs"]
mod movies;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// Runs the program in `folder` and gives exit status, standard output and standard error.
fn run(folder: &Path, words: &[&str]) -> (i32, String, String) {
    let Output { status, stdout, stderr } = program(folder, words).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status.code().unwrap(), text(stdout), text(stderr))
}

fn program(folder: &Path, words: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("plateproof"));
    command.current_dir(folder).args(words);
    command
}

/// The demo show, written once for all tests: shots in folders, `reports` beside them.
fn demo() -> &'static Path {
    static DEMO: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let (status, out, err) = run(folder.path(), &["demo", "--out", "ferry"]);
        assert_eq!(status, 0, "{out}{err}");
        let path = folder.path().join("ferry");
        (folder, path)
    });
    path
}

/// A copy of some shots of the demo show in a folder of its own.
fn shots(names: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in names {
        let to = folder.path().join("shots").join(name);
        fs::create_dir_all(&to).unwrap();
        for entry in fs::read_dir(demo().join(name)).unwrap() {
            let entry = entry.unwrap();
            fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
    }
    fs::copy(demo().join("show.json"), folder.path().join("shots/show.json")).unwrap();
    folder
}

/// Every file of a folder with its bytes.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    // A file that another process has just renamed is seen under its new name the next time.
    let read = |entry: fs::DirEntry| Some((entry.file_name().into_string().ok()?, fs::read(entry.path()).ok()?));
    fs::read_dir(folder).into_iter().flatten().flatten().filter_map(read).collect()
}

/// The reports of a folder, without the manifests of the runs that made them.
fn reports(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    contents(folder).into_iter().filter(|(name, _)| !name.starts_with("plateproof-")).collect()
}

fn edit(path: &Path, change: impl FnOnce(&mut Value)) {
    let mut value: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
    change(&mut value);
    fs::write(path, value.to_string()).unwrap();
}

/// A sheet whose pictures do not exist.
fn broken(shot: &str) -> Value {
    json!({ "format": "plateproof-shot/1", "shot": shot, "mirrors": ["no_s.exr"], "cg": { "spheres": ["no_c.exr"] } })
}

/// Every text that is a sheet's value of any key, at any depth.
fn texts(value: &Value) -> Vec<&str> {
    match value {
        Value::String(text) => vec![text],
        Value::Array(list) => list.iter().flat_map(texts).collect(),
        Value::Object(map) => map.values().flat_map(texts).collect(),
        _ => Vec::new(),
    }
}

/// A sheet for each shot, each file that a sheet names, little of it, and nothing besides but frames of a next version.
#[test]
fn the_demo_show_is_complete_and_small() {
    let (mut named, mut there, mut sheets) = (BTreeSet::new(), BTreeSet::new(), 0);
    for shot in fs::read_dir(demo()).unwrap().map(|entry| entry.unwrap().path()) {
        if !shot.is_dir() || shot.ends_with("reports") {
            continue;
        }
        for path in fs::read_dir(&shot).unwrap().map(|entry| entry.unwrap().path().canonicalize().unwrap()) {
            if path.ends_with("shot.json") {
                let sheet: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
                let is_file = |text: &&str| [".exr", ".jpg", ".json"].iter().any(|ending| text.ends_with(ending));
                named.extend(texts(&sheet).into_iter().filter(is_file).map(|t| shot.join(t).canonicalize().expect(t)));
                sheets += 1;
            } else {
                there.insert(path);
            }
        }
    }
    assert_eq!(sheets, plateproof::demo::truths().len() + plateproof::demo::VARIANTS.len());
    for unnamed in there.difference(&named) {
        assert!(unnamed.to_string_lossy().contains("cg_sphere.v"), "{unnamed:?}");
    }
    let total: u64 = there.iter().map(|path| fs::metadata(path).unwrap().len()).sum();
    assert!(total < 40_000_000, "{total} bytes");
}

/// Each shot on another's frames: its one check speaks, and no other one does.
#[test]
fn demo_shots_of_the_notes_fire_one_check_each() {
    for variant in plateproof::demo::VARIANTS {
        let reports = fs::read_dir(demo().join("reports")).unwrap().map(|entry| entry.unwrap().path());
        let is_its = |path: &PathBuf| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            name.starts_with(variant.name) && name.ends_with(".report.json")
        };
        let path = reports.into_iter().find(is_its).unwrap();
        let report: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
        assert_eq!(report["verdict"], variant.verdict.word(), "{}", variant.name);
        for finding in report["findings"].as_array().unwrap() {
            let speaks = finding["verdict"] == "mismatch" || finding["verdict"] == "unsure";
            let meant = variant.fires.is_some_and(|check| finding["check"] == check);
            assert_eq!(speaks, meant, "{}: {finding}", variant.name);
        }
        assert_truth(&report, variant.truth());
    }
}

/// The finding of a shot's report.
fn finding_of(report: &Value, check: &str) -> Value {
    let findings = report["findings"].as_array().unwrap();
    findings.iter().find(|f| f["check"] == check).unwrap_or_else(|| panic!("{check}: {report}")).clone()
}

/// The check says what a perfect measurement would, within three of its standard deviations.
fn assert_truth(report: &Value, truth: Option<plateproof::demo::CheckTruth>) {
    let Some(truth) = truth else { return };
    let finding = finding_of(report, truth.check);
    let (value, sd) = (finding["value"].as_f64().unwrap(), finding["value_sd"].as_f64().unwrap());
    assert!((value - truth.error).abs() < 3.0 * sd, "{}: {value} +/- {sd}, truth {}", truth.check, truth.error);
    assert_eq!(finding["verdict"], truth.expected.unwrap().word(), "{finding}");
}

/// A lens, a note and a grey sphere that are right: the checks that speak of them elsewhere are silent.
#[test]
fn a_key_that_is_the_sun_and_a_sound_matte_sphere_are_silent() {
    let path = demo().join("reports/SF_0500.v008.report.json");
    let report: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
    assert_eq!(report["verdict"], "match");
    for finding in report["findings"].as_array().unwrap() {
        assert!(["match", "not-given"].contains(&finding["verdict"].as_str().unwrap()), "{finding}");
    }
    for check in ["sun", "grey-sphere"] {
        assert_eq!(finding_of(&report, check)["verdict"], "match");
    }
    let shot = plateproof::demo::truths().into_iter().find(|truth| truth.shot == "SF_0500").unwrap();
    assert_truth(&report, shot.check("grey-sphere").cloned());
    // NREL SPA as pvlib 0.16.1 computes it for 54.9 N, 8.0 E at 2026-05-12T18:48:00+02:00.
    let detail = &finding_of(&report, "sun")["detail"];
    assert!((detail["sun_bearing_true_deg"].as_f64().unwrap() - 273.509).abs() < 0.05, "{detail}");
    assert!((detail["sun_elevation_deg"].as_f64().unwrap() - 20.075).abs() < 0.05, "{detail}");
}

/// Each check speaks in one shot of the show and is silent in another.
#[test]
fn every_check_fires_in_one_demo_shot_and_is_silent_in_another() {
    let mut seen: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (name, bytes) in contents(&demo().join("reports")) {
        if name.ends_with(".report.json") {
            let report: Value = serde_json::from_slice(&bytes).unwrap();
            for finding in report["findings"].as_array().unwrap() {
                let word = |key: &str| finding[key].as_str().unwrap().to_owned();
                seen.entry(word("check")).or_default().push(word("verdict"));
            }
        }
    }
    let listed = plateproof::check::docs().count();
    assert_eq!(seen.len(), listed, "{:?}", seen.keys());
    for (check, verdicts) in seen {
        for verdict in ["mismatch", "match"] {
            assert!(verdicts.iter().any(|v| v == verdict), "{check} is never {verdict}");
        }
    }
}

const TWO: [&str; 2] = ["SF_0110", "SF_0210"];

#[test]
fn answers_come_in_the_order_of_the_sheets_whatever_is_done_first() {
    let here = tempfile::tempdir().unwrap();
    fs::create_dir(here.path().join("shots")).unwrap();
    for i in 0..30 {
        fs::write(here.path().join(format!("shots/{i:02}.json")), broken(&format!("SF_{i:04}")).to_string()).unwrap();
    }
    let (status, out, _) = run(here.path(), &["check", "shots", "--format", "json", "--jobs", "7"]);
    assert_eq!(status, 2);
    let names =
        out.lines().map(|line| serde_json::from_str::<Value>(line).unwrap()["shot"].as_str().unwrap().to_owned());
    assert_eq!(names.collect::<Vec<_>>(), (0..30).map(|i| format!("SF_{i:04}")).collect::<Vec<_>>());
}

#[test]
fn an_unchanged_shot_is_kept_and_a_changed_one_is_checked_again() {
    let here = shots(&TWO);
    let folder = here.path().join("r");
    let check = |more: &[&str]| run(here.path(), &[&["check", "shots", "--out", "r"], more].concat());
    let (status, ..) = check(&[]);
    assert_eq!(status, 1);
    let first = reports(&folder);
    assert_eq!(first.len(), 7, "SF_0110 has a picture of what moved besides: {:?}", first.keys());
    for (name, bytes) in &first {
        assert!(*bytes == fs::read(demo().join("reports").join(name)).unwrap(), "{name}: many at once say otherwise");
    }
    let (status, out, _) = check(&[]);
    assert_eq!(status, 1, "the verdict of kept reports counts");
    assert!(out.contains("2 unchanged"), "{out}");
    assert!(check(&["--again"]).1.contains("2 shots: 1 mismatch, 1 match. Reports"));
    assert!(reports(&folder) == first, "the same bytes");

    // A sheet that says otherwise, a sheet beneath it, a frame, a report that is not whole: each is seen.
    let sheet = here.path().join("shots/SF_0210/shot.json");
    edit(&sheet, |sheet| sheet["tolerances"] = json!({ "exposure": { "stops": 0.9 } }));
    assert!(check(&[]).1.contains("1 unchanged"));
    assert!(check(&[]).1.contains("2 unchanged"));
    edit(&here.path().join("shots/show.json"), |show| show["notes"] = json!({ "day": 3 }));
    assert!(!check(&[]).1.contains("unchanged"), "what a sheet extends counts");
    let frame = here.path().join("shots/SF_0110/mirror.exr");
    let mut bytes = fs::read(&frame).unwrap();
    bytes.push(0);
    fs::write(&frame, bytes).unwrap();
    assert!(check(&[]).1.contains("1 unchanged"));
    let text = folder.join("SF_0210.v003.report.txt");
    fs::write(&text, "MATCH  SF_0210 v003  plateproof report\nCG    cut sh").unwrap();
    assert!(check(&[]).1.contains("1 unchanged"));
    assert!(fs::read_to_string(&text).unwrap().len() > 100);
    fs::remove_file(folder.join("SF_0210.v003.report.png")).unwrap();
    assert!(check(&[]).1.contains("1 unchanged"));
    let json = fs::read_to_string(folder.join("SF_0210.v003.report.json")).unwrap();
    fs::write(folder.join("SF_0210.v003.report.json"), json.replace("\"mismatch\"", "\"match\"")).unwrap();
    assert!(check(&[]).1.contains("1 unchanged"), "a report changed by hand does not hold");
    assert!(!check(&["--no-picture"]).1.contains("unchanged"), "options count");
}

#[test]
fn a_wrong_name_of_a_light_layer_leaves_the_rest_of_the_shot_measured() {
    let here = shots(&["SF_0430"]);
    edit(&here.path().join("shots/SF_0430/shot.json"), |sheet| {
        sheet["cg"]["spheres"][0]["light_layers"] = json!(["key", "rin", "dusk"]);
    });
    let (status, out, _) = run(here.path(), &["check", "shots", "--out", "r", "--no-picture", "--format", "json"]);
    let report: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((status, report["error"].is_null()), (1, true), "{out}");
    assert!(finding_of(&report, "exposure")["value"].is_number(), "{out}");
    let gains = finding_of(&report, "light-gains");
    assert_eq!(gains["verdict"], "unsure");
    assert_eq!(gains["reason"], "the CG file has no layer \"rin\", named in light_layers");
    let remedy = gains["remedy"].as_str().unwrap();
    assert!(remedy.contains("light_layers") && !remedy.contains("`layer`"), "{remedy}");
    for layer in ["key", "rim", "dusk"] {
        assert!(remedy.contains(layer), "{remedy}");
    }
}

#[test]
fn a_waiver_that_ended_counts_no_more_and_is_named() {
    let here = shots(&["SF_0140"]);
    let sheet = here.path().join("shots/SF_0140/shot.json");
    let waive = |until: &str| {
        edit(&sheet, |sheet| {
            let waiver = |check: &str| json!({ "check": check, "by": "hk", "why": "agreed", "until": until });
            sheet["waivers"] =
                json!([waiver("highlight-direction"), waiver("environment-rotation"), waiver("lens-distortion")]);
        });
        run(here.path(), &["check", "shots", "--out", "r", "--no-picture"])
    };
    let (status, out, _) = waive("2999-01-31");
    assert_eq!(status, 0, "{out}");
    let junit = run(here.path(), &["summary", "r", "--format", "junit"]).1;
    assert!(junit.contains("waived by hk until 2999-01-31: agreed") && !junit.contains("<failure"), "{junit}");
    let (status, out, _) = waive("2020-01-31");
    assert_eq!(status, 1);
    let flat = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("the waiver for highlight-direction by hk (agreed) ended on 2020-01-31"), "{out}");
}

#[test]
fn the_parts_together_are_the_whole() {
    let here = shots(&["SF_0110", "SF_0210", "SF_0320"]);
    let twin = broken("SF_0110");
    fs::write(
        here.path().join("shots/twin.json"),
        {
            let mut t = twin;
            t["cg"]["version"] = json!("v012");
            t
        }
        .to_string(),
    )
    .unwrap();
    let check = |more: &[&str]| run(here.path(), &[&["check", "shots", "--no-picture", "--out"], more].concat());
    let (status, whole, err) = check(&["whole"]);
    assert_eq!(status, 2);
    assert!(err.contains("twin.json") && err.contains("SF_0110/shot.json"), "both sheets are named: {err}");
    let rows = |out: &str| out.lines().take_while(|l| !l.is_empty()).map(str::to_owned).collect::<Vec<_>>();
    let mut statuses = Vec::new();
    let mut told = 0;
    for part in ["1/3", "2/3", "3/3"] {
        let (status, out, _) = check(&["parts", "--part", part, "--format", "json"]);
        statuses.push(status);
        told += out.lines().count();
    }
    assert_eq!(told, rows(&whole).len(), "each shot in one part");
    assert!(statuses.contains(&2), "the twin is an error in its part: {statuses:?}");
    assert!(reports(&here.path().join("whole")) == reports(&here.path().join("parts")));
    assert_eq!(run(here.path(), &["check", "shots", "--part", "4/3"]).0, 2);
}

/// Waits for `child`, but kills it after `patience`.
fn kill_after(mut child: Child, patience: Duration) {
    let start = Instant::now();
    while start.elapsed() < patience {
        if child.try_wait().unwrap().is_some() {
            return;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
fn killed_at_any_instant_a_rerun_gives_the_same_bytes() {
    let here = shots(&TWO);
    let words = ["check", "shots", "--out", "r", "--jobs", "2"];
    let start = Instant::now();
    run(here.path(), &["check", "shots", "--out", "whole", "--jobs", "2"]);
    let whole_run = start.elapsed();
    let whole = contents(&here.path().join("whole"));
    // A fixed stream of odd instants (the fractions of multiples of the golden ratio) spread over a whole run.
    for kill in 1..=6_u32 {
        let fraction = (f64::from(kill) * 0.618_033_988_75).fract();
        let child = program(here.path(), &words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        kill_after(child, whole_run.mul_f64(fraction));
        for (name, bytes) in contents(&here.path().join("r")) {
            if name.starts_with('.') {
                age(&here.path().join("r").join(name));
            } else if !name.starts_with("plateproof-manifest.") {
                assert!(whole[&name] == bytes, "{name} is not whole");
            }
        }
        if kill % 2 == 0 {
            fs::remove_dir_all(here.path().join("r")).unwrap_or_default();
        }
    }
    run(here.path(), &words);
    assert!(contents(&here.path().join("r")) == whole, "nothing more and nothing less");
}

/// Makes a file look as if it had been left a minute ago.
fn age(path: &Path) {
    let then = std::time::SystemTime::now() - Duration::from_mins(1);
    fs::File::options().write(true).open(path).unwrap().set_modified(then).unwrap();
}

#[test]
fn two_processes_on_one_folder_do_each_other_no_harm() {
    let here = shots(&["SF_0110"]);
    let words = ["check", "shots", "--out", "r", "--again"];
    let spawn = || program(here.path(), &words).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    for child in [spawn(), spawn()] {
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    }
    let written = reports(&here.path().join("r"));
    assert_eq!(written.len(), 4, "{:?}", written.keys());
    assert!(written.iter().all(|(name, bytes)| fs::read(demo().join("reports").join(name)).unwrap() == *bytes));
}

#[cfg(unix)]
#[test]
fn asked_to_stop_it_ends_with_whole_reports_and_goes_on_later() {
    let here = shots(&["SF_0110"]);
    for i in 0..400 {
        fs::write(here.path().join(format!("shots/z{i:03}.json")), broken(&format!("Z{i:03}")).to_string()).unwrap();
    }
    let words = ["check", "shots", "--out", "r", "--jobs", "1", "--no-picture"];
    let child = program(here.path(), &words).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    let folder = here.path().join("r");
    while contents(&folder).keys().filter(|name| !name.starts_with('.')).count() < 4 {
        std::thread::sleep(Duration::from_millis(2));
    }
    let asked = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(asked.success());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(4), "{err}");
    assert!(err.contains("stopped after") && err.contains("of 401 shots"), "{err}");
    let left = contents(&folder);
    let texts = left.keys().filter(|name| name.ends_with(".report.txt")).count();
    let documents = left.keys().filter(|name| name.ends_with(".report.json")).count();
    assert!(texts < 401 && texts == documents, "{texts} {documents}");
    assert!(left.keys().all(|name| !name.starts_with('.')));
    assert!(run(here.path(), &words).1.contains("1 unchanged"));
}

#[test]
fn pictures_beside_a_report_go_with_what_they_were_of() {
    let here = shots(&["SF_0320"]);
    let beside = here.path().join("r/SF_0320.v009.moved.png");
    run(here.path(), &["check", "shots", "--out", "r", "--no-picture"]);
    assert!(beside.exists());
    edit(&here.path().join("shots/SF_0320/shot.json"), |sheet| {
        sheet.as_object_mut().unwrap().remove("clean_plate");
    });
    run(here.path(), &["check", "shots", "--out", "r", "--no-picture"]);
    assert!(!beside.exists(), "it shows what moved against a clean plate that the sheet no longer names");
}

#[test]
fn a_picture_held_against_itself_is_wrong_use() {
    let here = shots(&["SF_0110"]);
    let folder = here.path().join("shots/SF_0110");
    fs::copy(folder.join("mirror.exr"), folder.join("cg_sphere.exr")).unwrap();
    edit(&folder.join("shot.json"), |sheet| {
        sheet["cg"]["spheres"] = json!([{ "mirror": "m1", "frame": "cg_sphere.exr" }]);
    });
    let (status, out, _) = run(here.path(), &["check", "shots", "--out", "r"]);
    assert_eq!(status, 2, "{out}");
    assert!(out.contains("always agrees with itself"), "{out}");
}

#[test]
fn a_clean_take_does_not_make_a_still_shot_a_moving_one() {
    let here = shots(&["SF_0110", "SF_0230"]);
    let folder = here.path().join("shots/SF_0110");
    let sheet: Value = serde_json::from_slice(&fs::read(folder.join("shot.json")).unwrap()).unwrap();
    let clean = folder.join(sheet["clean_plate"]["frame"].as_str().unwrap());
    for number in 1..=3 {
        fs::copy(&clean, folder.join(format!("clean.{number:04}.exr"))).unwrap();
    }
    edit(&folder.join("shot.json"), |sheet| {
        sheet["clean_plate"] = json!({ "frame": "clean.####.exr", "frame_range": [1, 3] });
    });
    let words = ["check", "shots", "--out", "r", "--no-picture"];
    run(here.path(), &words);
    let report = fs::read_to_string(here.path().join("r/SF_0110.v012.report.txt")).unwrap();
    assert!(!report.contains("OVER TIME"), "{report}");
    assert!(run(here.path(), &words).1.contains("2 unchanged"));
    // Each frame of the take counts, not only the first.
    fs::copy(folder.join("mirror.exr"), folder.join("clean.0003.exr")).unwrap();
    assert!(run(here.path(), &words).1.contains("1 unchanged"));
}

#[test]
fn a_moving_shot_is_told_by_its_worst_frame_and_its_curve() {
    let here = shots(&["SF_0210"]);
    let folder = here.path().join("shots/SF_0210");
    let mut good = fs::read(folder.join("mirror.exr")).unwrap();
    // Another file with the same picture: one and the same would prove nothing.
    good.push(0);
    let off = fs::read(folder.join("cg_sphere.v003.1001.exr")).unwrap();
    for (number, bytes) in [(1001, &good), (1002, &off), (1003, &off), (1004, &good), (1005, &good)] {
        fs::write(folder.join(format!("cg.{number}.exr")), bytes).unwrap();
    }
    edit(&folder.join("shot.json"), |sheet| {
        sheet["cg"]["spheres"] = json!([{ "mirror": "m1", "frame": "cg.####.exr", "frame_range": [1001, 1005] }]);
    });
    let check = |every: &str| run(here.path(), &["check", "shots", "--out", "r", "--every", every]);
    let (status, out, _) = check("2");
    assert_eq!(status, 1);
    assert!(out.contains("OVER TIME (frames 1001 to 1005, 3 samples"), "{out}");
    let report: Value =
        serde_json::from_slice(&fs::read(here.path().join("r/SF_0210.v003.report.json")).unwrap()).unwrap();
    let sequence = &report["sequence"];
    assert_eq!(sequence["worst_frame"], 1003);
    let verdicts: Vec<&str> =
        sequence["frames"].as_array().unwrap().iter().map(|f| f["verdict"].as_str().unwrap()).collect();
    assert_eq!(verdicts, ["match", "mismatch", "match"]);
    assert!(here.path().join("r/SF_0210.v003.curve.png").exists());
    let schema: Value = serde_json::from_str(&run(here.path(), &["schema", "report"]).1).unwrap();
    assert!(jsonschema::draft202012::new(&schema).unwrap().is_valid(&report));
    assert!(check("2").1.contains("Unchanged"));

    // A sample that cannot be read is an error that names it; the others are still told.
    fs::remove_file(folder.join("cg.1005.exr")).unwrap();
    let (status, out, _) = check("2");
    assert_eq!(status, 2);
    assert!(out.contains("1005 error") && out.contains("1003 mismatch"), "{out}");
}

#[test]
fn a_summary_is_told_in_every_format() {
    let reports = demo().join("reports");
    let here = tempfile::tempdir().unwrap();
    let summary = |more: &[&str]| run(here.path(), &[&["summary", reports.to_str().unwrap()], more].concat());
    let (status, text, _) = summary(&[]);
    assert_eq!(status, 1, "some mismatch");
    assert!(text.lines().next().unwrap().ends_with("MISMATCH"), "{text}");
    assert!(text.contains("17 shots: 8 mismatch, 2 unsure, 7 match"), "{text}");
    assert!(!text.contains("SHARED"), "each shot of the demo show is off in its own way: {text}");
    let place = |shot: &str| text.find(shot).unwrap();
    assert!(place("SF_0210") < place("SF_0350") && place("SF_0350") < place("SF_0110"), "worst first: {text}");

    let json: Value = serde_json::from_str(&summary(&["--format", "json"]).1).unwrap();
    let schema: Value = serde_json::from_str(&run(here.path(), &["schema", "summary"]).1).unwrap();
    let errors: Vec<String> =
        jsonschema::draft202012::new(&schema).unwrap().iter_errors(&json).map(|e| e.to_string()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    let csv = summary(&["--format", "csv"]).1;
    assert_eq!(csv.split("\r\n").count(), 19, "names, seventeen shots, the end: {csv}");
    let junit = summary(&["--format", "junit"]).1;
    let document = roxmltree::Document::parse(&junit).unwrap();
    assert_eq!(document.descendants().filter(|node| node.has_tag_name("testsuite")).count(), 17);

    let (status, ..) = summary(&["--overview", "ov"]);
    assert_eq!(status, 1);
    let pages = contents(&here.path().join("ov"));
    assert_eq!(pages.keys().collect::<Vec<_>>(), ["overview.page-001.png", "overview.page-002.png"]);
    fs::write(here.path().join("ov/overview.page-001.png"), "a picture of somebody else").unwrap();
    let (status, _, err) = summary(&["--overview", "ov"]);
    assert_eq!(status, 2);
    assert!(err.contains("not written over"), "{err}");
}

/// A report of a shot whose exposure is off by `stops`.
fn exposure_report(folder: &Path, shot: &str, version: &str, stops: f64) {
    let verdict = if stops.abs() > 0.25 { "mismatch" } else { "match" };
    let report = json!({
        "format": "plateproof-report/1", "tool": { "name": "plateproof", "version": "0.1.0" },
        "shot": shot, "version": version, "verdict": verdict, "spheres": [],
        "findings": [{ "check": "exposure", "concerns": "cg", "verdict": verdict, "value": stops, "value_sd": 0.01,
                       "unit": "stops", "tolerance": 0.25, "detail": {}, "reason": "", "remedy": "" }],
        "inputs": [], "warnings": [], "error": null,
    });
    fs::create_dir_all(folder).unwrap();
    fs::write(folder.join(format!("{shot}.{version}.report.json")), report.to_string()).unwrap();
}

#[test]
fn what_most_shots_share_is_said_and_what_changed_since() {
    let here = tempfile::tempdir().unwrap();
    let (monday, tuesday) = (here.path().join("monday"), here.path().join("tuesday"));
    for i in 0..11 {
        exposure_report(&tuesday, &format!("SF_{i:04}"), "v002", -0.2 - 0.002 * f64::from(i % 3));
        exposure_report(&monday, &format!("SF_{i:04}"), "v001", if i == 0 { -0.9 } else { -0.2 });
    }
    for (i, stops) in [(11, 0.6), (12, 0.0), (13, 0.1)] {
        exposure_report(&tuesday, &format!("SF_{i:04}"), "v002", stops);
    }
    exposure_report(&monday, "SF_0011", "v001", 0.0);
    exposure_report(&monday, "SF_0099", "v001", 0.0);
    exposure_report(&tuesday, "SF_0013", "v001", 2.0);
    let (status, text, _) = run(here.path(), &["summary", "tuesday", "--against", "monday"]);
    assert_eq!(status, 1);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("11 of 14 shots are 0.20 stops too dark: suspect the grade or exposure of the environment"),
        "{text}"
    );
    assert!(flat.contains("1 worse, 2 first seen, 10 same, 0 better, 1 cured, 0 waived, 1 gone"), "{text}");
    assert!(text.contains("v001 mismatch -> v002 match; was exposure -0.90"), "{text}");
    assert!(text.contains("1 older version left out"), "{text}");
}

#[test]
fn a_trend_shows_a_shot_over_all_its_versions() {
    let here = tempfile::tempdir().unwrap();
    let folder = here.path().join("r");
    for (version, stops) in [("v9", 1.75), ("v10", -0.6), ("v11", 0.1)] {
        exposure_report(&folder, "SF_0010", version, stops);
    }
    exposure_report(&folder, "SF_0020", "v001", 0.5);
    let (status, text, _) = run(here.path(), &["summary", "r", "--trend"]);
    assert_eq!(status, 1, "SF_0020 is off");
    assert!(text.contains("  SF_0010  XX=  v9 to v11, 3 versions; now match"), "{text}");
    let (status, text, _) = run(here.path(), &["summary", "r", "--trend", "--shot", "SF_0010"]);
    assert_eq!(status, 0, "the other shot does not count: {text}");
    let rows: Vec<&str> = text.lines().filter(|line| line.starts_with("  v")).collect();
    let mark = |row: &str| row.find('o').unwrap();
    assert!(mark(rows[0]) > mark(rows[1]) && mark(rows[1]) > mark(rows[2]), "{text}");
    assert!(text.contains("exposure  XX=  +1.75 -> +0.10 +/- 0.01 stops (0.25)"), "{text}");
    assert!(text.lines().all(|line| line.len() <= 80), "no terminal, so 80 columns: {text}");

    let csv = run(here.path(), &["summary", "r", "--trend", "--format", "csv"]).1;
    assert!(csv.contains("SF_0010,v10,mismatch,exposure,,mismatch,no,-0.6,0.01,,stops,0.25"), "{csv}");
    assert_eq!(csv.split("\r\n").count(), 6, "names, four versions, the end: {csv}");
    let json: Value =
        serde_json::from_str(&run(here.path(), &["summary", "r", "--trend", "--format", "json"]).1).unwrap();
    assert_eq!(json["trends"][1]["versions"].as_array().unwrap().len(), 3);
    let schema: Value = serde_json::from_str(&run(here.path(), &["schema", "summary"]).1).unwrap();
    assert!(jsonschema::draft202012::new(&schema).unwrap().is_valid(&json));
    assert_eq!(run(here.path(), &["summary", "r", "--trend", "--format", "junit"]).0, 2);
    assert_eq!(run(here.path(), &["summary", "r", "--shot", "SF_9999"]).0, 2);
}

/// Reports that are missing on the older side are nothing that the newer one could mend.
#[test]
fn what_is_missing_of_the_earlier_set_is_a_warning() {
    let here = tempfile::tempdir().unwrap();
    for folder in ["monday", "tuesday"] {
        exposure_report(&here.path().join(folder), "SF_0001", "v1", 0.0);
    }
    fs::write(here.path().join("monday/SF_0002.report.json"), "{").unwrap();
    let (status, text, _) = run(here.path(), &["summary", "tuesday", "--against", "monday"]);
    assert_eq!(status, 0, "{text}");
    assert!(text.contains("NOT READ, AND WARNINGS") && text.contains("SF_0002.report.json"), "{text}");
    assert_eq!(run(here.path(), &["summary", "monday", "--against", "tuesday"]).0, 2, "here it counts");
    assert_eq!(run(here.path(), &["summary", "tuesday", "--against", "nowhere"]).0, 2, "nothing to hold it against");
}

#[test]
fn overview_pages_sort_as_numbers_and_those_of_a_longer_one_go() {
    let here = tempfile::tempdir().unwrap();
    for i in 0..101 {
        exposure_report(&here.path().join("many"), &format!("SF_{i:04}"), "v1", 0.0);
    }
    exposure_report(&here.path().join("few"), "SF_0001", "v1", 0.0);
    assert_eq!(run(here.path(), &["summary", "many", "--overview", "ov"]).0, 0);
    let pages = || contents(&here.path().join("ov")).into_keys().collect::<Vec<_>>();
    let numbers: Vec<String> = (1..=11).map(|page| format!("overview.page-{page:03}.png")).collect();
    assert_eq!(pages(), numbers);
    fs::write(here.path().join("ov/overview.page-notes.png"), "of somebody else").unwrap();
    assert_eq!(run(here.path(), &["summary", "few", "--overview", "ov"]).0, 0);
    assert_eq!(pages(), ["overview.page-001.png", "overview.page-notes.png"]);
}

/// Where times are trusted a file is not read again; that a change behind its time passes unseen proves it.
#[test]
fn trusted_times_spare_reading_the_files() {
    let here = shots(&["SF_0210"]);
    let plate = here.path().join("shots/SF_0210/plate.1001.exr");
    let check = |more: &[&str]| run(here.path(), &[&["check", "shots", "--out", "r", "--no-picture"], more].concat()).1;
    for entry in fs::read_dir(here.path().join("shots/SF_0210")).unwrap() {
        age(&entry.unwrap().path());
    }
    let trust = ["--trust-times"];
    assert!(!check(&trust).contains("nchanged"));
    let time = fs::metadata(&plate).unwrap().modified().unwrap();
    let mut bytes = fs::read(&plate).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    fs::write(&plate, &bytes).unwrap();
    fs::File::options().write(true).open(&plate).unwrap().set_modified(time).unwrap();
    let trusted = check(&trust);
    assert!(trusted.contains("Unchanged since the last run"), "{trusted}");
    assert!(!check(&[]).contains("nchanged"), "without the option it is read");
    assert_eq!(reports(&here.path().join("r")).len(), 2, "the list of times is no report");
}

#[test]
fn the_exit_status_of_a_summary_keeps_its_rank() {
    let here = tempfile::tempdir().unwrap();
    let status = |words: &[&str]| run(here.path(), &[&["summary"], words].concat()).0;
    assert_eq!(status(&[]), 2);
    assert_eq!(status(&["missing"]), 2);
    fs::create_dir(here.path().join("empty")).unwrap();
    assert_eq!(status(&["empty"]), 2);
    exposure_report(&here.path().join("good"), "SF_0001", "v1", 0.0);
    assert_eq!(status(&["good"]), 0);
    exposure_report(&here.path().join("unsure"), "SF_0002", "v1", 0.0);
    let path = here.path().join("unsure/SF_0002.v1.report.json");
    fs::write(&path, fs::read_to_string(&path).unwrap().replace("\"match\"", "\"unsure\"")).unwrap();
    assert_eq!(status(&["good", "unsure"]), 3);
    exposure_report(&here.path().join("off"), "SF_0003", "v1", 0.9);
    assert_eq!(status(&["good", "unsure", "off"]), 1);
    fs::write(here.path().join("off/broken.report.json"), "{").unwrap();
    assert_eq!(status(&["good", "unsure", "off"]), 2);
}
