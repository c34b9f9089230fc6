//! Against OpenColorIO's own library, 2.6.0 (`golden/colour_config/make.py`), and what a config may not do.

use std::path::{Path, PathBuf};

use serde_json::Value;

use super::super::*;

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/colour_config").join(name)
}

fn read(config: &Path, name: &str, picture: &str, space_is_told: bool) -> Result<ConfigTransform> {
    let config = config.to_str().unwrap();
    ConfigTransform::read(&ConfigRequest { config: Some(config), name, picture: Path::new(picture), space_is_told })
}

fn triples(value: &Value) -> Vec<[f32; 3]> {
    serde_json::from_value(value.clone()).unwrap()
}

/// The largest difference from the reference library, in parts of the value where that is above one.
fn apart(transform: &ConfigTransform, codes: &[[f32; 3]], wanted: &[[f32; 3]]) -> f32 {
    let of = |(code, wanted): (&[f32; 3], &[f32; 3])| {
        let got = transform.apply(*code);
        (0..3).map(|c| (got[c] - wanted[c]).abs() / wanted[c].abs().max(1.0)).fold(0.0, f32::max)
    };
    codes.iter().zip(wanted).map(of).fold(0.0, f32::max)
}

#[test]
fn every_kind_of_transform_agrees_with_the_reference_library() {
    let expected: Value = serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap();
    let codes = triples(&expected["codes"]);
    let spaces = expected["to_aces2065_1"].as_object().unwrap();
    assert_eq!(spaces.len(), 14);
    for (name, wanted) in spaces {
        let transform = read(&golden("config.ocio"), name, "plate.dpx", false).unwrap();
        let apart = apart(&transform, &codes, &triples(wanted));
        assert!(apart < 1e-4, "{name}: {apart}");
        assert_eq!(transform.space.as_ref().map(|space| space.name.as_str()), Some("aces2065-1"));
    }
    for (picture, wanted) in expected["file_rules"].as_object().unwrap() {
        let transform = read(&golden("config.ocio"), "", picture, false).unwrap();
        assert_eq!(transform.name(), wanted.as_str().unwrap(), "{picture}");
    }
}

#[test]
fn a_config_that_exchanges_nothing_needs_the_primaries_told() {
    let expected: Value = serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap();
    let codes = triples(&expected["codes"]);
    for (name, wanted) in expected["to_scene_linear"].as_object().unwrap() {
        let transform = read(&golden("old.ocio"), name, "plate.dpx", true).unwrap();
        assert!(apart(&transform, &codes, &triples(wanted)) < 1e-4, "{name}");
        assert_eq!(transform.space, None);
        let error = read(&golden("old.ocio"), name, "plate.dpx", false).unwrap_err();
        assert!(error.remedy.contains("colour_space"), "{error}");
    }
}

#[test]
fn what_gives_no_light_is_named() {
    let refused = |name: &str| read(&golden("config.ocio"), name, "plate.dpx", false).unwrap_err();
    assert!(refused("mask").cause.contains("data"));
    assert!(refused("wheelhouse monitor").cause.contains("display"));
    let unknown = refused("dock lgo");
    assert!(unknown.remedy.contains("did you mean \"dock log\""), "{}", unknown.remedy);
}

/// A config with one table in another place than it should be.
fn config_with(folder: &Path, search_path: &str, table: &str) -> PathBuf {
    let text = std::fs::read_to_string(golden("old.ocio")).unwrap();
    let text = text.replace("search_path: tables", &format!("search_path: {search_path}"));
    let path = folder.join("config.ocio");
    std::fs::write(&path, text.replace("salt.spi1d", table)).unwrap();
    path
}

#[test]
fn nothing_outside_the_folder_is_read() {
    let outside = tempfile::tempdir().unwrap();
    let table = outside.path().join("salt.spi1d");
    std::fs::copy(golden("tables/salt.spi1d"), &table).unwrap();
    let folder = outside.path().join("show");
    std::fs::create_dir(&folder).unwrap();
    let absolute = outside.path().to_str().unwrap();
    for (search_path, name) in
        [("..", "salt.spi1d"), (absolute, "salt.spi1d"), (".", "../salt.spi1d"), (".", table.to_str().unwrap())]
    {
        let error = read(&config_with(&folder, search_path, name), "salt", "plate.dpx", true).unwrap_err();
        assert!(error.cause.contains("outside its folder"), "{search_path} {name}: {error}");
    }
    let climbing = config_with(&folder, "tables/${BERTH}", "salt.spi1d");
    let text = std::fs::read_to_string(&climbing).unwrap();
    let declared = text.replace("search_path:", "environment: {BERTH: ../..}\n\nsearch_path:");
    std::fs::write(&climbing, declared).unwrap();
    let error = read(&climbing, "salt", "plate.dpx", true).unwrap_err();
    assert!(error.cause.contains("BERTH"), "{error}");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&table, folder.join("linked.spi1d")).unwrap();
        let error = read(&config_with(&folder, ".", "linked.spi1d"), "salt", "plate.dpx", true).unwrap_err();
        assert!(error.cause.contains("leads out"), "{error}");
    }
}

#[test]
fn a_table_that_is_missing_or_damaged_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let config = config_with(folder.path(), ".", "salt.spi1d");
    let error = read(&config, "salt", "plate.dpx", true).unwrap_err();
    assert!(error.cause.contains("salt.spi1d"), "{error}");
    let whole = std::fs::read(golden("tables/salt.spi1d")).unwrap();
    for cut in (0..whole.len() - 3).step_by(37) {
        std::fs::write(folder.path().join(format!("salt{cut}.spi1d")), &whole[..cut]).unwrap();
        let config = config_with(folder.path(), ".", &format!("salt{cut}.spi1d"));
        assert!(read(&config, "salt", "plate.dpx", true).is_err(), "{cut}");
    }
}

/// Neither a truncated config nor a changed one stops the program.
#[test]
fn damaged_configs_are_refused_or_read() {
    let folder = tempfile::tempdir().unwrap();
    let whole = std::fs::read(golden("config.ocio")).unwrap();
    let path = folder.path().join("config.ocio");
    let mut refused = 0;
    for cut in (0..whole.len()).step_by(37) {
        std::fs::write(&path, &whole[..cut]).unwrap();
        refused += usize::from(read(&path, "curve still", "plate.dpx", false).is_err());
        let mut changed = whole.clone();
        changed[cut] = b'{';
        std::fs::write(&path, &changed).unwrap();
        let _ = read(&path, "dock log", "plate.dpx", false);
    }
    assert!(refused >= whole.len() / 37 - 2, "{refused}");
    std::fs::write(&path, b"PK\x03\x04").unwrap();
    assert!(read(&path, "dock log", "plate.dpx", false).unwrap_err().cause.contains("archive"));
}
