//! The documents hold what they say: links lead somewhere, printed commands are understood, the list of keys is current.

#![allow(clippy::unwrap_used, reason = "a test may end at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use nalgebra::{Matrix3, Vector3};

mod docs_keys;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn program(words: &[&str]) -> (bool, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_plateproof")).args(words).output().unwrap();
    let text = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8(text).unwrap())
}

/// Every document of the project; data of others keeps its own.
fn documents() -> Vec<PathBuf> {
    let folders = [root().to_path_buf(), root().join("docs"), root().join("reports")];
    let files = folders.iter().flat_map(|folder| fs::read_dir(folder).into_iter().flatten().flatten());
    let mut found: Vec<PathBuf> =
        files.map(|entry| entry.path()).filter(|path| path.extension().is_some_and(|e| e == "md")).collect();
    found.sort();
    assert!(found.len() >= 10, "{found:?}");
    found
}

/// What stands between `](` and `)`.
fn link_targets(text: &str) -> impl Iterator<Item = &str> {
    text.split("](").skip(1).filter_map(|rest| rest.split_once(')')).map(|(target, _)| target)
}

#[test]
fn relative_links_lead_to_files_that_are_there() {
    let mut seen = 0;
    for document in documents() {
        let text = fs::read_to_string(&document).unwrap();
        for target in link_targets(&text).filter(|target| !target.contains("://") && !target.starts_with('#')) {
            let file = target.split('#').next().unwrap();
            let path = document.parent().unwrap().join(file);
            assert!(path.exists(), "{}: {target} leads nowhere", document.display());
            seen += 1;
        }
    }
    assert!(seen >= 30, "{seen}");
}

#[test]
fn every_page_is_reached_from_the_readme() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for document in documents().iter().filter(|path| path.parent() == Some(&root().join("docs"))) {
        let name = format!("docs/{}", document.file_name().unwrap().to_str().unwrap());
        assert!(link_targets(&readme).any(|target| target == name), "README.md does not name {name}");
    }
}

/// The line after its prompt, without a comment or a redirection; nothing where the shell has to fill something in.
fn command_line(line: &str) -> Option<&str> {
    let command = line.trim().strip_prefix("plateproof ")?;
    let command = command.split([';', '>', '#']).next().unwrap().trim();
    let is_pattern = command.contains(['$', '"', '`', '…']) || command.contains("...");
    (!is_pattern && !command.is_empty()).then_some(command)
}

/// With `--help` at the end the parser reads every word before it, and nothing is done.
#[test]
fn printed_commands_are_understood() {
    let mut seen = 0;
    for document in documents() {
        let text = fs::read_to_string(&document).unwrap();
        for block in text.split("```").skip(1).step_by(2).filter(|block| block.starts_with("sh\n")) {
            for command in block.lines().filter_map(command_line) {
                let words: Vec<&str> = command.split_whitespace().chain(["--help"]).collect();
                let (understood, told) = program(&words);
                assert!(understood, "{}: plateproof {command}\n{told}", document.display());
                seen += 1;
            }
        }
    }
    assert!(seen >= 20, "{seen}");
}

/// Columns of a terminal, and of what ticket systems show unwrapped (common practice, no source).
const REPORT_COLUMNS: usize = 80;

#[test]
fn no_line_of_a_sample_report_is_longer_than_a_terminal_is_wide() {
    let files = fs::read_dir(root().join("reports")).unwrap().map(|entry| entry.unwrap().path());
    let texts: Vec<PathBuf> = files.filter(|path| path.extension().is_some_and(|e| e == "txt")).collect();
    assert!(texts.len() >= 17, "one for each shot of the demo show: {}", texts.len());
    for path in texts {
        for (index, line) in fs::read_to_string(&path).unwrap().lines().enumerate() {
            let columns = line.chars().count();
            assert!(columns <= REPORT_COLUMNS, "{}:{}: {columns} columns", path.display(), index + 1);
        }
    }
}

/// Written anew with `PLATEPROOF_WRITE_DOCS=1 cargo test --test docs keys`.
#[test]
fn the_list_of_keys_is_that_of_the_schemas() {
    let schema = |of: &str| serde_json::from_str(&program(&["schema", of]).1).unwrap();
    let expected = docs_keys::page(&schema("sheet"), &schema("report"));
    let path = root().join("docs/keys.md");
    if std::env::var_os("PLATEPROOF_WRITE_DOCS").is_some() {
        fs::write(&path, &expected).unwrap();
    }
    let is_current = fs::read_to_string(&path).unwrap() == expected;
    assert!(is_current, "docs/keys.md is stale: PLATEPROOF_WRITE_DOCS=1 cargo test --test docs keys");
}

/// Rows of the first table below a heading, as cells without blanks around them.
fn rows(page: &str, heading: &str) -> Vec<Vec<String>> {
    let below = page.split_once(heading).unwrap().1;
    let lines = below.lines().skip_while(|line| !line.starts_with('|')).take_while(|line| line.starts_with('|'));
    lines.skip(2).map(|line| line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect()).collect()
}

/// Camera axes to frame right, up and towards the camera, of which scene axes are named.
fn axis(words: &str) -> Vector3<f64> {
    match words {
        "frame right" => Vector3::x(),
        "up" => Vector3::y(),
        "towards the camera" => Vector3::z(),
        "into the scene" => -Vector3::z(),
        other => panic!("{other}"),
    }
}

/// From camera axes to the scene axes of a row.
fn to_scene(cells: &[String]) -> Matrix3<f64> {
    Matrix3::from_rows(&[1, 2, 3].map(|column: usize| axis(&cells[column]).transpose()))
}

/// What a program does that is told to rotate about one of its axes: the textbook formula, whatever the handedness.
fn about(axis: &str, degrees: f64) -> Matrix3<f64> {
    let (s, c) = degrees.to_radians().sin_cos();
    match axis {
        "X" => Matrix3::new(1.0, 0.0, 0.0, 0.0, c, -s, 0.0, s, c),
        "Y" => Matrix3::new(c, 0.0, s, 0.0, 1.0, 0.0, -s, 0.0, c),
        "Z" => Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0),
        other => panic!("{other}"),
    }
}

/// `rotate Y by -h` for an h of so many degrees.
fn turn(cell: &str, degrees: f64) -> Matrix3<f64> {
    let words: Vec<&str> = cell.split(' ').collect();
    let sign = if words[3].starts_with('-') { -1.0 } else { 1.0 };
    about(words[1], sign * degrees)
}

/// A direction by azimuth and elevation in camera axes.
fn direction(azimuth_deg: f64, elevation_deg: f64) -> Vector3<f64> {
    let (azimuth, elevation) = (azimuth_deg.to_radians(), elevation_deg.to_radians());
    Vector3::new(elevation.cos() * azimuth.sin(), elevation.sin(), elevation.cos() * azimuth.cos())
}

/// Closed form: a turn in scene axes is the turn in camera axes, carried over (B R B^-1); right-handed about up, frame right
/// and the camera's side, as `explain directions` defines them.
#[test]
fn the_table_of_turn_signs_holds_in_every_kind_of_axes() {
    let page = fs::read_to_string(root().join("docs/turn_signs.md")).unwrap();
    let table = rows(&page, "## In your scene");
    assert_eq!(table.len(), 4);
    for cells in &table {
        let (into, handed) = (to_scene(cells), if cells[0].ends_with("left-handed") { -1.0 } else { 1.0 });
        assert!((into.determinant() - handed).abs() < 1e-12, "{cells:?}");
        for (column, axis, degrees) in [(4, "Y", 17.0), (5, "X", -6.0), (6, "Z", 4.0)] {
            let carried = into * about(axis, degrees) * into.transpose();
            assert!((turn(&cells[column], degrees) - carried).norm() < 1e-12, "{cells:?}: {axis}");
        }
    }
}

#[test]
fn the_worked_example_of_turn_signs_is_right() {
    let page = fs::read_to_string(root().join("docs/turn_signs.md")).unwrap();
    let (table, example) = (rows(&page, "## In your scene"), rows(&page, "## A worked example"));
    assert_eq!(example.len(), 4);
    for (axes, cells) in table.iter().zip(&example) {
        assert_eq!(axes[0], cells[0]);
        let vector = |cell: &str| Vector3::from_iterator(cell.split(", ").map(|number| number.parse::<f64>().unwrap()));
        let (photographed, cg) = (vector(&cells[1]), vector(&cells[2]));
        assert!((to_scene(axes) * direction(64.0, 18.0) - photographed).norm() < 1e-3, "{cells:?}");
        assert!((to_scene(axes) * direction(75.5, 18.0) - cg).norm() < 1e-3, "{cells:?}");
        assert!((turn(&cells[3], 11.5) * cg - photographed).norm() < 2e-3, "{cells:?}");
    }
    let column = |azimuth_deg: f64| 4096.0 * (0.5 - azimuth_deg / 360.0);
    assert!(
        page.contains(&format!("column {:.1}", column(75.5))) && page.contains(&format!("column {:.1}", column(64.0)))
    );
    assert!(page.contains(&format!("{:.1} px", column(64.0) - column(75.5))), "how far the picture moves");
}
