use std::fs;
use std::path::Path;

use super::*;
use crate::sheet::load_sheet;

/// The frames of a path-traced shot under other names in a folder of its own.
fn pile(names: [&str; 3]) -> tempfile::TempDir {
    let folder = tempfile::Builder::new().prefix("SF_0770-").tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match");
    for (file, name) in ["plate.exr", "mirror.exr", "cg.exr"].into_iter().zip(names) {
        let to = folder.path().join(name);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::copy(from.join(file), to).unwrap();
    }
    folder
}

fn draft(folder: &Path) -> Draft {
    let files = collect(&[folder.to_path_buf()]).unwrap();
    draft_shot(&files, &folder.join("shot.json"), None, &Limits::default(), &mut |_| ()).unwrap()
}

fn role(draft: &Draft, file: &str) -> Role {
    draft.guesses.iter().find(|guess| guess.file == file).unwrap().role
}

#[test]
fn names_make_a_sheet_that_check_takes() {
    let folder = pile(["plate.1001.exr", "mirror.exr", "cg_sphere.v003.exr"]);
    let draft = draft(folder.path());
    assert!(draft.incomplete.is_none() && draft.unreadable.is_empty(), "{:?}", draft.incomplete);
    fs::write(folder.path().join("shot.json"), draft.sheet.to_string()).unwrap();
    let sheet = load_sheet(&folder.path().join("shot.json")).unwrap();
    assert_eq!((sheet.shot.as_str(), sheet.cg.version.as_deref()), ("SF_0770", Some("v003")));
    assert_eq!(sheet.plate.as_ref().unwrap().frame, "plate.1001.exr");
    assert_eq!(sheet.mirrors[0].bracket[0].frame, "mirror.exr");
    assert_eq!(sheet.cg.spheres[0].image.frame, "cg_sphere.v003.exr");
    let notes = sheet.notes.unwrap();
    assert_eq!(notes["to_ask"].as_array().unwrap().len(), draft.to_ask.len());
    assert!(notes["taken_for"][0].as_str().unwrap().contains("because"), "{notes:?}");
}

#[test]
fn content_tells_what_names_do_not() {
    let folder = pile(["a.exr", "b.exr", "c.exr"]);
    let draft = draft(folder.path());
    assert_eq!(role(&draft, "a.exr"), Role::Plate, "{:?}", draft.guesses);
    assert_eq!(role(&draft, "b.exr"), Role::Mirror);
    assert_eq!(role(&draft, "c.exr"), Role::Cg);
    let why = |i: usize| draft.guesses[i].why.as_str();
    assert!(why(0).contains("size of the sphere frame") && why(1).contains("a mirror sphere of radius"));
    assert!(why(2).contains("cut out by its alpha"), "{}", why(2));
    assert!(draft.incomplete.is_none());
}

#[test]
fn what_is_missing_is_asked_for_most_valuable_first() {
    let folder = pile(["plate.exr", "mirror.exr", "cg.exr"]);
    fs::remove_file(folder.path().join("cg.exr")).unwrap();
    let draft = draft(folder.path());
    assert!(draft.to_ask[0].contains("render of a matching mirror sphere"), "{:?}", draft.to_ask);
    assert!(draft.incomplete.unwrap().cause.contains("cg.spheres"));
    let place = |word: &str| draft.to_ask.iter().position(|line| line.contains(word)).unwrap();
    assert!(place("shutter, stop and ISO") < place("focal length") && place("focal length") < place("clean plate"));
}

#[test]
fn an_older_render_and_a_broken_file_are_set_aside() {
    let folder = pile(["plate.exr", "mirror.exr", "cg.v012.exr"]);
    fs::copy(folder.path().join("cg.v012.exr"), folder.path().join("cg.v009.exr")).unwrap();
    fs::write(folder.path().join("mirror_over.jpg"), "no picture").unwrap();
    let draft = draft(folder.path());
    let old = draft.guesses.iter().find(|guess| guess.file == "cg.v009.exr").unwrap();
    assert!(!old.used && old.why.contains("there is a newer version"), "{old:?}");
    assert_eq!(draft.sheet["cg"]["spheres"].as_array().unwrap().len(), 1);
    assert_eq!(draft.sheet["cg"]["version"], "v012");
    assert_eq!(draft.unreadable.len(), 1);
}

#[test]
fn the_only_plate_is_the_plate_even_if_it_is_called_clean() {
    let folder = pile(["clean_bg.exr", "mirror.exr", "cg.exr"]);
    let draft = draft(folder.path());
    assert_eq!(role(&draft, "clean_bg.exr"), Role::Plate, "{:?}", draft.guesses);
    assert_eq!(draft.sheet["plate"]["frame"], "clean_bg.exr");
    assert!(draft.sheet.get("clean_plate").is_none());
}

#[test]
fn frames_of_two_sizes_are_no_one_bracket() {
    let folder = pile(["plate.exr", "mirror_1.exr", "cg.exr"]);
    let other = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_020_all_match_long_lens/mirror.exr");
    fs::copy(other, folder.path().join("mirror_2.exr")).unwrap();
    let draft = draft(folder.path());
    assert_eq!(draft.sheet["mirrors"].as_array().unwrap().len(), 2, "{:?}", draft.sheet["mirrors"]);
}

/// A disc of two colours on nothing, as a logo is.
#[test]
fn a_logo_is_no_sphere() {
    let folder = pile(["plate.exr", "mirror.exr", "cg.exr"]);
    let side = 200_u32;
    let logo = ::image::RgbaImage::from_fn(side, side, |x, y| {
        let (dx, dy) = (f64::from(x) - 99.5, f64::from(y) - 99.5);
        match dx.hypot(dy) {
            r if r > 80.0 => ::image::Rgba([0, 0, 0, 0]),
            r if r > 50.0 => ::image::Rgba([20, 60, 140, 255]),
            _ => ::image::Rgba([240, 240, 235, 255]),
        }
    });
    logo.save(folder.path().join("ferry_line.png")).unwrap();
    let draft = draft(folder.path());
    assert_eq!(role(&draft, "ferry_line.png"), Role::Unknown, "{:?}", draft.guesses);
    assert_eq!(draft.sheet["cg"]["spheres"].as_array().unwrap().len(), 1);
}
