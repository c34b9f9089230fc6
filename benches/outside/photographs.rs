//! Photographs of others with their circles, as the reference data tells them.

use std::collections::BTreeMap;
use std::path::Path;

use plateproof::sheet::ImageSpec;

use plateproof::sphere::Told;

use crate::finder::{Looked, Place, look};

/// File below the reference data; centre and radius by hand, px; how well they are known, px; whether the sphere stands in a
/// scene or fills the frame. The circles of `room_bracket` are those of the short axis (187 px): the lens draws the sphere 5 % longer
/// towards the frame's corner, by 14 rim points measured in numpy (`tests/pictures/finder.rs`). Sources: the README of each folder; for `psbox_probe1` its `circle_data.txt`.
const PHOTOGRAPHS: [(&str, [f64; 3], f64, &str); 12] = [
    ("sphere_photos/room.jpg", [2042.0, 2052.5, 1981.0], 5.0, "fills"),
    ("sphere_photos/tisch.jpg", [1999.0, 1967.0, 1883.0], 5.0, "fills"),
    ("sphere_photos/lamp.jpg", [2061.0, 2068.5, 1917.0], 5.0, "fills"),
    ("sphere_photos/tokyo.jpg", [1503.0, 1476.0, 1442.0], 5.0, "fills"),
    ("sphere_photos/YamatoNoNezumi.jpg", [2060.5, 1965.5, 1937.0], 6.0, "fills"),
    ("sphere_photos/roof.jpg", [1936.0, 1924.5, 1857.0], 10.0, "fills"),
    ("sphere_photos/movie.jpg", [539.5, 540.0, 538.0], 4.0, "fills"),
    ("room_bracket/graingerBall_full_1_8.jpg", [2530.0, 2419.0, 187.0], 6.0, "scene"),
    ("room_bracket/graingerBall_full_1_30.jpg", [2531.0, 2421.0, 187.0], 6.0, "scene"),
    ("room_bracket/graingerBall_full_1_60.jpg", [2531.0, 2422.0, 187.0], 6.0, "scene"),
    ("room_bracket/graingerBall_full_1_90.jpg", [2532.0, 2422.0, 187.0], 6.0, "scene"),
    ("room_bracket/graingerBall_full_1_125.jpg", [2388.0, 2284.0, 203.0], 6.0, "scene"),
];

/// Every photograph, looked at with nothing told but the file.
pub(crate) fn looked(data: &Path, only: Option<&str>) -> Vec<Looked> {
    let rows = PHOTOGRAPHS.iter().map(|(file, circle, slack, stands)| ((*file).to_owned(), *circle, *slack, *stands));
    let rows = rows.chain(lamp_photographs(data)).filter(|row| only.is_none_or(|o| row.0.contains(o)));
    rows.map(|(file, [x, y, r], slack, stands)| {
        let image = ImageSpec { frame: data.join(&file).to_string_lossy().into_owned(), ..ImageSpec::default() };
        let classes = BTreeMap::from([("photograph".to_owned(), stands.to_owned())]);
        look(file, image, None, Told::Nothing, Place { outline: [x, y, r, r, 0.0], slack_px: slack }, classes)
    })
    .collect()
}

/// The glossy sphere under one lamp at a time: 1-based circle, y from the bottom.
fn lamp_photographs(data: &Path) -> Vec<(String, [f64; 3], f64, &'static str)> {
    let at = data.join("psbox_probe1");
    let (Ok(text), Ok((_, height))) =
        (std::fs::read_to_string(at.join("circle_data.txt")), image::image_dimensions(at.join("ref.JPG")))
    else {
        return Vec::new();
    };
    let numbers: Vec<f64> = text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    let [x, y, r] = [0, 1, 2].map(|i| numbers.get(i).copied().unwrap_or(0.0));
    let circle = [x - 0.5, f64::from(height) + 1.0 - y - 0.5, r];
    let names = (1..=12).map(|i| format!("psbox_probe1/Image_{i:02}.JPG"));
    names.chain(["psbox_probe1/ref.JPG".to_owned()]).map(|name| (name, circle, 4.0, "lamp")).collect()
}
