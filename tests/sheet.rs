//! Shot sheets from disk: what is understood, what is refused and in which words.

#![allow(clippy::unwrap_used, reason = "a test may end at the first surprise")]
#![allow(clippy::float_cmp, reason = "numbers that were typed come back unchanged")]

use std::fs;
use std::path::{Path, PathBuf};

use plateproof::sheet::{
    AlphaKind, MirrorReflectance, Reflectance, ShotSheet, load_sheet, sheet_from_json, sheet_schema,
};
use serde_json::{Value, json};

fn shortest() -> Value {
    json!({ "format": "plateproof-shot/1", "shot": "SF_0010", "mirrors": ["s.exr"], "cg": { "spheres": ["cg.exr"] } })
}

/// The shortest sheet with one more top-level key.
fn with(key: &str, value: Value) -> Value {
    let mut sheet = shortest();
    sheet[key] = value;
    sheet
}

fn read(value: Value) -> plateproof::Result<ShotSheet> {
    sheet_from_json(value, Path::new("shot.json"), Path::new("shots"))
}

fn message(value: Value) -> String {
    read(value).unwrap_err().to_string()
}

fn examples() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/examples");
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect()
}

fn write(folder: &Path, name: &str, value: &Value) -> PathBuf {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(&path, value.to_string()).unwrap();
    path
}

/// The sheets that the README shows.
fn sheets_of_the_readme() -> Vec<Value> {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let blocks = readme.split("```json\n").skip(1).map(|rest| rest.split("```").next().unwrap());
    blocks.map(|block| serde_json::from_str(block).unwrap()).collect()
}

#[test]
fn every_example_validates_against_the_published_schema_and_loads() {
    let schema = sheet_schema();
    jsonschema::draft202012::meta::validate(&schema).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let (paths, shown) = (examples(), sheets_of_the_readme());
    assert!(paths.len() >= 4 && !shown.is_empty());
    let stored = paths.iter().map(|path| serde_json::from_slice::<Value>(&fs::read(path).unwrap()).unwrap());
    for value in stored.chain(shown.iter().cloned()) {
        let errors: Vec<String> =
            validator.iter_errors(&value).map(|e| format!("{} at {}", e, e.instance_path())).collect();
        assert!(errors.is_empty(), "{value}: {errors:?}");
    }
    for path in paths.iter().filter(|path| !path.ends_with("show.json")) {
        load_sheet(path).unwrap_or_else(|error| panic!("{error}"));
    }
    for value in shown {
        read(value).unwrap();
    }
}

#[test]
fn a_complete_validator_refuses_what_the_loader_refuses() {
    let schema = sheet_schema();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let wrong = [
        with("mirror", json!(["s.exr"])),
        with("plate", json!({ "encoding": "srgb" })),
        with("plate", json!({ "frame": "p.exr", "clip_level": 0 })),
        with("plate", json!(7)),
        with("mirrors", json!([{ "frame": "s.exr", "reflectance": [0.5, 0.5] }])),
        with("mirrors", json!([{ "frame": "s.exr", "reflectance": [0.5, 0.5, 1.3] }])),
        with("camera", json!({ "focal_length_mm": -1 })),
        with("tolerances", json!({ "exposure": { "stops": 0 } })),
        with("cg", json!({ "spheres": [{ "frame": "cg.exr", "alpha": "none at all" }] })),
        with("cg", json!({ "spheres": [{ "frame": "cg.exr", "reflectance": "same" }] })),
        with("format", json!("plateproof-report/1")),
    ];
    for sheet in wrong {
        assert!(!validator.is_valid(&sheet), "the schema accepts {sheet}");
        assert!(read(sheet.clone()).is_err(), "the loader accepts {sheet}");
    }
    assert!(validator.is_valid(&shortest()));
}

#[test]
fn the_shortest_sheet_is_filled_in() {
    let sheet = read(with("plate", json!("p.exr"))).unwrap();
    assert_eq!(sheet.plate.as_ref().unwrap().path(&sheet.base_dir).unwrap(), Path::new("shots/p.exr"));
    assert_eq!(sheet.mirrors[0].name, "m1");
    assert_eq!(sheet.mirrors[0].bracket[0].frame, "s.exr");
    assert_eq!(sheet.cg.spheres[0].mirror.as_deref(), Some("m1"));
    assert_eq!(sheet.cg.spheres[0].reflectance, Reflectance::SameAsMirror);
    assert_eq!(sheet.cg.spheres[0].alpha, AlphaKind::Premultiplied);
    assert_eq!(sheet.not_used(), Vec::<String>::new());
    let t = sheet.tolerances;
    let defaults = [t.direction.deg, t.key_fill.stops, t.exposure.stops, t.colour.stops, t.colour.mired];
    assert_eq!(defaults, [5.0, 0.33, 0.25, 0.1, 20.0]);
}

#[test]
fn the_full_example_is_understood() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/examples");
    let sheet = load_sheet(&folder.join("every_key.json")).unwrap();
    let mirror = sheet.mirror("m1").unwrap();
    assert_eq!(mirror.bracket.iter().map(|e| e.exposure_stops).collect::<Vec<_>>(), [Some(-2.0), Some(0.0)]);
    assert_eq!(mirror.outline().unwrap().to_array(), [812.5, 604.0, 143.2, 143.2, 0.0]);
    assert_eq!(sheet.cg_camera().unwrap().sensor_mm, Some([24.89, 13.12]));
    let mut lying = sheet.clone();
    lying.measured_lengths.iter_mut().for_each(|length| length.stands_on_ground = false);
    assert!(lying.not_used().iter().any(|path| path.starts_with("camera.height_mm")), "{:?}", lying.not_used());
    let not_used = sheet.not_used();
    assert!(!not_used.iter().any(|path| path.contains("height_mm")), "{not_used:?}");
    assert!(!not_used.iter().any(|path| path.contains("light_layers") || path == "environment"), "{not_used:?}");
}

#[test]
fn the_example_of_a_show_is_inherited() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/examples");
    let sheet = load_sheet(&folder.join("shot.json")).unwrap();
    assert_eq!(sheet.mirrors[0].reflectance, Some(MirrorReflectance::Rgb([0.62, 0.60, 0.56])));
    assert_eq!(sheet.camera.as_ref().unwrap().focal_length_mm, Some(32.0));
    assert_eq!(sheet.plate.as_ref().unwrap().file_name().unwrap(), "plate.1001.exr");
    assert_eq!((sheet.tolerances.direction.deg, sheet.tolerances.colour.mired), (3.0, 15.0));
}

#[test]
fn a_loaded_sheet_written_out_reads_back_the_same() {
    let mut sheet = read(with("tolerances", json!({ "highlight-direction": { "deg": 3 } }))).unwrap();
    assert_eq!(sheet.tolerances.direction.deg, 3.0);
    let again = read(serde_json::to_value(&sheet).unwrap()).unwrap();
    // What the bracket took over is not written a second time.
    sheet.mirrors[0].whole = again.mirrors[0].whole.clone();
    assert_eq!(sheet, again);
}

#[test]
fn what_stands_on_a_mirror_holds_for_its_bracket() {
    let mirror = json!({ "encoding": "srgb", "clip_level": 0.9, "bracket": ["a.png", { "frame": "b.png", "encoding": "bt709" }] });
    let bracket = read(with("mirrors", json!([mirror]))).unwrap().mirrors[0].bracket.clone();
    assert_eq!(bracket.iter().map(|e| e.encoding.as_deref()).collect::<Vec<_>>(), [Some("srgb"), Some("bt709")]);
    assert_eq!(bracket.iter().map(|e| e.clip_level).collect::<Vec<_>>(), [Some(0.9), Some(0.9)]);
}

/// Frames of one movie are told apart by their numbers, and what holds for a bracket holds for each of its exposures.
#[test]
fn a_bracket_may_be_frames_of_one_movie() {
    let exposures = json!([{ "frame": "s.mov", "frame_number": 5 }, { "frame": "s.mov", "timecode": "01:00:00:07" }]);
    let value = with(
        "mirrors",
        json!([{ "bracket": exposures, "encoding": "s-log3", "code_range": "full", "matrix": "bt709", "field": "whole" }]),
    );
    let sheet = sheet_from_json(value, Path::new("shot.json"), Path::new("")).unwrap();
    let bracket = &sheet.mirrors[0].bracket;
    assert_eq!((bracket[0].frame_number, bracket[1].timecode.as_deref()), (Some(5), Some("01:00:00:07")));
    assert!(bracket.iter().all(|e| e.is_movie() && e.code_range.is_some() && e.matrix.is_some() && e.field.is_some()));
    let value = with(
        "environment",
        json!({ "encoding": "srgb", "bracket": ["a.jpg", { "frame": "b.jpg", "exposure_stops": 2 }] }),
    );
    let sheet = sheet_from_json(value, Path::new("shot.json"), Path::new("")).unwrap();
    let environment = sheet.environment.clone().unwrap();
    assert!(environment.bracket.iter().all(|e| e.encoding.as_deref() == Some("srgb")));
    assert!(sheet.checked_again(Path::new("shot.json")).is_ok(), "written out it is a sheet again");
}

#[test]
fn unknown_keys_name_their_place_and_the_nearest_known_key() {
    let text = message(with("mirors", json!(["s.exr"])));
    assert!(text.contains("unknown key `mirors`") && text.contains("did you mean `mirrors`?"), "{text}");
    let text = message(with("mirrors", json!([{ "frame": "s.exr", "reflectanse": [0.6, 0.6, 0.6] }])));
    assert!(text.contains("`mirrors[0].reflectanse`") && text.contains("did you mean `reflectance`?"), "{text}");
    let text = message(with("camera", json!({ "focalLength-mm": 32 })));
    assert!(text.contains("did you mean `focal_length_mm`?"), "{text}");
}

#[test]
fn wrong_values_name_key_expectation_and_finding() {
    let cases = [
        (with("plate", json!(3)), "`plate`: expected text or an object, found 3"),
        (
            with("mirrors", json!([{ "frame": "s.exr", "reflectance": "grey" }])),
            "`mirrors[0].reflectance`: expected a list of 3 or \"chrome\" or \"aluminium\" or \"steel\" or \"silver\" or \"silvered-glass\", found the text \"grey\"",
        ),
        (
            with("camera", json!({ "focal_length_mm": 0 })),
            "`camera.focal_length_mm`: expected a number above 0, found 0",
        ),
        (
            with("cg", json!({ "spheres": [{ "frame": "c.exr", "alpha": "pre" }] })),
            "`cg.spheres[0].alpha`: expected \"premultiplied\" or \"straight\" or \"none\", found the text \"pre\"",
        ),
        (with("cg", json!({ "spheres": [] })), "`cg.spheres`: expected a list of 1 to 32, found a list of 0"),
    ];
    for (sheet, expected) in cases {
        let text = message(sheet);
        assert!(text.contains(expected), "{text}\nwanted {expected}");
    }
}

#[test]
fn rules_across_keys_are_held() {
    let two = |a: &str, b: &str| json!([{ "name": a, "frame": "a.exr" }, { "name": b, "frame": "b.exr" }]);
    let cases = [
        (with("mirrors", two("left", "left")), "two mirrors are named \"left\""),
        (with("mirrors", json!([{ "name": "m1" }])), "`mirrors[0].frame` is required"),
        (with("mirrors", json!([{ "frame": "a.exr", "bracket": ["b.exr"] }])), "both `frame` and `bracket`"),
        (with("cg", json!({ "spheres": [{ "mirror": "m9", "frame": "c.exr" }] })), "did you mean \"m1\"?"),
        (with("cg", json!({ "spheres": ["a.exr", "b.exr"] })), "two CG spheres stand for mirror \"m1\""),
        (with("plate", json!("p.####.exr")), "add `frame_number` or `frame_range`"),
        (with("plate", json!({ "frame": "p.####.exr", "frame_range": [9, 1] })), "ends before it starts"),
        (with("mirrors", json!([{ "frame": "s.exr", "outline_px": [1, 2, 3, 4] }])), "neither a circle nor an ellipse"),
        (
            with("mirrors", json!([{ "frame": "s.exr", "outline_px": [1, 2, 3], "near_px": [1, 2, 3] }])),
            "`mirrors[0]` has both `outline_px` and `near_px`",
        ),
        (with("mirrors", json!([{ "frame": "s.exr", "near_px": [1, 2, 1] }])), "`mirrors[0].near_px` is not a circle"),
        (
            with("grey_spheres", json!([{ "name": "g1", "frame": "g.exr", "near_px": [1, 2, -3] }])),
            "`grey_spheres[0].near_px` is not a circle",
        ),
        (
            with("cg", json!({ "spheres": [{ "frame": "c.exr", "near_px": [1, 2, 0] }] })),
            "`cg.spheres[0].near_px` is not a circle",
        ),
        (
            with("plate", json!({ "frame": "p.mov", "frame_number": 5, "timecode": "01:00:00:00" })),
            "`plate` names its frame by `timecode` and by number",
        ),
        (with("plate", json!({ "frame": "p.mov", "frame_number": 0 })), "there is no frame 0 in a movie"),
        (
            with("cg", json!({ "spheres": [{ "frame": "c.mov", "frame_number": 5 }] })),
            "`cg.spheres[0].frame` is a movie",
        ),
        (
            with(
                "mirrors",
                json!([{ "bracket": [{ "frame": "s.mov", "frame_number": 5 }, { "frame": "s.mov", "frame_number": 5 }] }]),
            ),
            "names s.mov twice",
        ),
        (
            with("environment", json!({ "frame": "e.exr", "bracket": ["a.jpg", "b.jpg"] })),
            "`environment` has both `frame` and `bracket`",
        ),
        (with("environment", json!({ "heading_deg": 3 })), "`environment.frame` is required"),
        (with("shot", json!("a\n")), "`shot` is \"a\\n\""),
        (
            with("waivers", json!([{ "check": "colour", "by": "x", "why": "y", "until": "2027-01-31" }])),
            "did you mean \"colour-balance\"?",
        ),
        (
            with("waivers", json!([{ "check": "exposure", "by": "x", "why": "y", "until": "2027-02-30" }])),
            "\"2027-02-30\" is not a date",
        ),
        (
            with("tolerances", json!({ "colour": { "stops": 1 }, "colour-balance": { "stops": 1 } })),
            "are the same tolerance",
        ),
    ];
    for (sheet, expected) in cases {
        let text = message(sheet);
        assert!(text.contains(expected), "{text}\nwanted {expected}");
    }
}

#[test]
fn missing_keys_are_named() {
    for key in ["format", "shot", "mirrors", "cg"] {
        let mut sheet = shortest();
        sheet.as_object_mut().unwrap().remove(key);
        let text = message(sheet);
        assert!(text.contains(key) && text.contains("required but missing"), "{text}");
    }
}

#[test]
fn a_sheet_inherits_from_what_it_extends() {
    let folder = tempfile::tempdir().unwrap();
    let show = json!({
        "plate": { "frame": "plates/p.exr", "encoding": "srgb" },
        "mirrors": [
            { "name": "m1", "frame": "old.exr", "encoding": "log.clf", "reflectance": [0.6, 0.6, 0.6] },
            { "name": "m2", "frame": "x.exr" }
        ],
        "camera": { "focal_length_mm": 32, "tilt_deg": 3 },
        "notes": { "frame": "kept as it is" }
    });
    write(folder.path(), "show/show.json", &show);
    let mid = json!({ "format": "plateproof-shot/1", "extends": "../show/show.json", "plate": { "clip_level": 4 } });
    write(folder.path(), "scene/scene.json", &mid);
    let shot = json!({
        "format": "plateproof-shot/1", "shot": "SF_0020", "extends": "../../scene/scene.json",
        "mirrors": [{ "name": "m1", "bracket": ["new.exr"] }],
        "camera": { "tilt_deg": null },
        "cg": { "spheres": ["cg.exr"] }
    });
    let sheet = load_sheet(&write(folder.path(), "shots/020/shot.json", &shot)).unwrap();

    let plate = sheet.plate.as_ref().unwrap();
    assert_eq!((plate.clip_level, plate.encoding.as_deref()), (Some(4.0), Some("srgb")));
    assert_eq!(
        plate.path(&sheet.base_dir).unwrap(),
        folder.path().join("shots/020/../../scene/../show/plates/p.exr"),
        "a path stays relative to the file that names it"
    );
    assert_eq!(sheet.mirrors.len(), 1, "the child's list says which mirrors there are");
    assert_eq!(sheet.mirrors[0].bracket[0].frame, "new.exr");
    let encoding = sheet.mirrors[0].bracket[0].encoding.as_deref().unwrap();
    assert_eq!(encoding, "../../scene/../show/log.clf", "so does a transform's");
    assert_eq!(sheet.mirrors[0].reflectance, Some(MirrorReflectance::Rgb([0.6, 0.6, 0.6])));
    let camera = sheet.camera.unwrap();
    assert_eq!((camera.focal_length_mm, camera.tilt_deg), (Some(32.0), None));
    assert_eq!(sheet.notes.unwrap()["frame"], "kept as it is");
}

#[test]
fn circles_and_long_chains_end_in_an_error() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "a.json", &with("extends", json!("b.json")));
    write(folder.path(), "b.json", &with("extends", json!("./a.json")));
    let text = load_sheet(&folder.path().join("a.json")).unwrap_err().to_string();
    assert!(text.contains("extends itself"), "{text}");

    for i in 0..30 {
        write(folder.path(), &format!("c{i}.json"), &with("extends", json!(format!("c{}.json", i + 1))));
    }
    let text = load_sheet(&folder.path().join("c0.json")).unwrap_err().to_string();
    assert!(text.contains("more than 16 sheets"), "{text}");
}

#[test]
fn sheets_that_extend_one_another_have_a_size_together() {
    let folder = tempfile::tempdir().unwrap();
    let long = "x".repeat(3 << 20);
    for (name, above) in [("shot.json", "reel.json"), ("reel.json", "show.json")] {
        let mut sheet = with("extends", json!(above));
        sheet["notes"] = json!({ "long": long });
        write(folder.path(), name, &sheet);
    }
    let mut show = shortest();
    write(folder.path(), "show.json", &show);
    load_sheet(&folder.path().join("shot.json")).expect("6 MiB are still taken");
    show["notes"] = json!({ "long": long });
    write(folder.path(), "show.json", &show);
    let error = load_sheet(&folder.path().join("shot.json")).unwrap_err();
    assert!(error.file.ends_with("show.json") && error.cause.contains("more than 8 MiB in all"), "{error}");
}

#[test]
fn an_error_in_an_extended_sheet_names_that_sheet() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "show.json", &json!({ "camera": { "focal": 32 } }));
    let path = write(folder.path(), "shot.json", &with("extends", json!("show.json")));
    let error = load_sheet(&path).unwrap_err();
    assert_eq!(error.file, folder.path().join("show.json"));
}

#[test]
fn files_that_are_no_sheets_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("shot.json");
    let text = |path: &Path| load_sheet(path).unwrap_err().to_string();
    assert!(text(&path).contains("no such file"));
    assert!(text(folder.path()).contains("not a file"));
    for (bytes, cause) in [
        (b"{ \"format\": ".to_vec(), "not valid JSON"),
        (b"[1, 2]".to_vec(), "expected an object"),
        (vec![0xff, 0xfe, 0x00], "UTF-16"),
        (vec![0xff, 0x00], "UTF-16"),
        (vec![0xff, 0xff], "not valid JSON"),
        ([b"[".repeat(100_000), b"]".repeat(100_000)].concat(), "not valid JSON"),
        (vec![b' '; 5 << 20], "larger than 4 MiB"),
    ] {
        fs::write(&path, bytes).unwrap();
        assert!(text(&path).contains(cause), "{}", text(&path));
    }
    fs::write(&path, format!("\u{feff}{}", shortest())).unwrap();
    assert!(load_sheet(&path).is_ok(), "a byte order mark does no harm");
}

#[test]
fn lengths_are_read_in_the_unit_of_the_set() {
    let mirror = json!([{ "frame": "s.exr", "diameter": "10 in" }]);
    let mut sheet = with("camera", json!({ "distance": "10 ft 6 in", "sensor_format": "Super 35" }));
    sheet["mirrors"] = mirror;
    let sheet = read(sheet).unwrap();
    assert!((sheet.mirrors[0].diameter_mm.unwrap() - 254.0).abs() < 1e-9);
    let camera = sheet.camera.unwrap();
    assert!((camera.distance_mm.unwrap() - 3200.4).abs() < 1e-9);
    assert!((camera.sensor_size_mm().unwrap()[0] - 24.892).abs() < 1e-9);
}

#[test]
fn notes_that_cannot_be_are_refused_with_a_remedy() {
    for (key, value, expected) in [
        ("camera", json!({ "distance": "three metres" }), "10 ft 6 in"),
        ("camera", json!({ "distance": "3 m", "distance_mm": 3000 }), "give one of the two"),
        ("camera", json!({ "sensor_format": "supper-35" }), "did you mean \"super-35\"?"),
        ("location", json!({ "time": "noon" }), "2026-06-21T17:20:00+02:00"),
        ("location", json!({ "latitude_deg": 99 }), "correct this value"),
    ] {
        let error = read(with(key, value)).unwrap_err();
        assert!(error.remedy.contains(expected), "{expected}: {error}");
    }
}
