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
