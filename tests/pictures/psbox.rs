//! Real photographs of a glossy sphere under one lamp at a time, with published circle and light directions.
//!
//! Source: psbox, Ying Xiong 2014, MIT, folder `psbox_probe1` of the reference data: `circle_data.txt` (1-based pixels,
//! y from the bottom) and `light_directions.txt` (x right, y up, z to the camera). Nothing is told to the program but
//! the file. Two spheres of that rig disagree by 0.4° to 1.75° about the same lamps.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use plateproof::findings::{LightReport, SphereReport};
use plateproof::optics::camera::PARALLEL_FOV_DEG;
use plateproof::sheet::ImageSpec;
use plateproof::shot::{SphereOutcome, SphereQuery, measure_sphere};
use plateproof::sphere::{Outline, Told, angle_between_rad, direction_of_deg};

use crate::sphere_scene::load::reference_data;

/// Rows of every photograph.
const HEIGHT_PX: f64 = 1000.0;

fn photographs() -> PathBuf {
    reference_data().join("psbox_probe1")
}

fn numbers(path: &Path) -> Vec<f64> {
    let text = std::fs::read_to_string(path).unwrap();
    text.split_whitespace().map(|word| word.parse().unwrap()).collect()
}

/// A 1-based pixel centre c lies at c − 0.5 from the corner; y from the top is height + 1 − y.
fn published_circle(folder: &Path) -> Outline {
    let n = numbers(&folder.join("circle_data.txt"));
    Outline::circle(n[0] - 0.5, HEIGHT_PX + 1.0 - n[1] - 0.5, n[2])
}

/// The circle through the rim as numpy and OpenCV find it in all photographs (`golden/lamp_rims`): 0.61 % of the radius
/// from the published one.
fn measured_circle(folder: &Path) -> Outline {
    let published = published_circle(folder);
    Outline::circle(published.centre_x + 0.45, published.centre_y + 2.52, published.semi_a + 2.04)
}

/// An outline further off the published circle than this part of the radius is wrong, unless it says so: the circle itself is 0.61 %
/// off the rim.
pub(crate) const MOST_OFF: f64 = 0.009;

/// Three rows of twelve: x, y and z of each lamp.
fn published_directions(folder: &Path) -> Vec<Vector3<f64>> {
    let n = numbers(&folder.join("light_directions.txt"));
    let lamps = n.len() / 3;
    (0..lamps).map(|i| Vector3::new(n[i], n[lamps + i], n[2 * lamps + i]).normalize()).collect()
}

fn measure(path: &Path) -> SphereOutcome {
    // The published directions are those of parallel rays, so that much is told of the lens.
    let horizontal_fov_deg = Some(PARALLEL_FOV_DEG);
    let image = ImageSpec::of_frame(path.to_string_lossy());
    measure_sphere(&SphereQuery { image, horizontal_fov_deg, ..SphereQuery::default() })
}

fn direction(light: &LightReport) -> Vector3<f64> {
    direction_of_deg(light.azimuth_deg, light.elevation_deg)
}

/// Largest distance of centre and semi-axes from the circle, as a part of its radius.
fn outline_error(sphere: &SphereReport, circle: &Outline) -> f64 {
    let [x, y, a, b, _] = sphere.outline_px;
    let centre = (x - circle.centre_x).hypot(y - circle.centre_y);
    centre.max((a - circle.semi_a).abs()).max((b - circle.semi_a).abs()) / circle.semi_a
}

/// Told that rays are parallel, as the published directions take them. Target: 0.5 % of the radius in all twelve, key within 0.5
/// degrees at the median and 1.0 at most (two spheres of that rig disagree with each other by 0.4 to 1.75).
/// Today ten are found; two, whose rim is dark nearly all round, are placed roughly and say so, or are refused. All ten lie within 0.5 % of the rim
/// as measured by other means, eight within 0.5 % of the published circle, which is 0.61 % from that rim, the others within 0.9 %;
/// the key is off by 0.61 degrees at the median.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn outline_and_key_of_twelve_photographs() {
    let folder = photographs();
    let (circle, lamps) = (published_circle(&folder), published_directions(&folder));
    let measured = measured_circle(&folder);
    assert_eq!(lamps.len(), 12);
    let mut angles = Vec::new();
    let (mut close, mut broken) = (0, Vec::new());
    for (lamp, number) in lamps.iter().zip(1..) {
        let outcome = measure(&folder.join(format!("Image_{number:02}.JPG")));
        let Some(sphere) = outcome.sphere.as_ref() else {
            println!("{number:02}: no sphere, {} candidates", outcome.candidates.len());
            continue;
        };
        let rough = sphere.outline_px_sd[2] > 0.01 * circle.semi_a;
        if rough {
            // Placed no better than it says: not counted, but what it says has to hold.
            let off = outline_error(sphere, &measured) * circle.semi_a / sphere.outline_px_sd[2];
            println!("{number:02}: rough, {off:.1} sd off");
            if off > 3.0 {
                broken.push(format!("{number:02}: {off:.1} sd"));
            }
            continue;
        }
        let outline = outline_error(sphere, &circle);
        let Some(key) = sphere.lights.first() else {
            broken.push(format!("{number:02}: no light"));
            continue;
        };
        let angle = angle_between_rad(&direction(key), lamp).to_degrees();
        println!(
            "{number:02}: outline {:.2} % of the radius from the published circle, {:.2} % from the measured one, key {angle:.2} deg of {} lights",
            100.0 * outline,
            100.0 * outline_error(sphere, &measured),
            sphere.lights.len()
        );
        close += usize::from(outline <= 0.005);
        if outline > MOST_OFF || outline_error(sphere, &measured) > 0.005 {
            broken.push(format!("{number:02}: outline {:.2} %", 100.0 * outline));
        }
        angles.push(angle);
    }
    angles.sort_by(f64::total_cmp);
    let (median, worst) = (angles.get(angles.len() / 2).copied(), angles.last().copied());
    println!("key: median {median:?} deg, worst {worst:?} deg");
    assert!(broken.is_empty(), "{broken:?}");
    assert!(angles.len() >= 10, "found in {} of 12", angles.len());
    assert!(close >= 8, "{close} outlines within 0.5 %");
    assert!(median.is_some_and(|m| m <= 0.65), "median {median:?} deg");
    assert!(worst.is_some_and(|w| w <= 1.0), "worst {worst:?} deg");
}

/// With the published circle given, what remains is the light's own direction: streaks must not drag it.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn key_of_twelve_photographs_with_the_published_circle() {
    let folder = photographs();
    let (circle, lamps) = (published_circle(&folder), published_directions(&folder));
    let mut angles: Vec<f64> = lamps
        .iter()
        .zip(1..)
        .map(|(lamp, number)| {
            let frame = folder.join(format!("Image_{number:02}.JPG"));
            let query = SphereQuery {
                image: ImageSpec::of_frame(frame.to_string_lossy()),
                told: Told::Outline(circle),
                // The published directions are those of parallel rays.
                horizontal_fov_deg: Some(PARALLEL_FOV_DEG),
                ..SphereQuery::default()
            };
            let sphere = measure_sphere(&query).sphere.expect("the outline is given");
            angle_between_rad(&direction(&sphere.lights[0]), lamp).to_degrees()
        })
        .collect();
    angles.sort_by(f64::total_cmp);
    println!("key: median {:.2} deg, worst {:.2} deg", angles[6], angles[11]);
    assert!(angles[6] <= 0.5 && angles[11] <= 1.0, "{angles:?}");
}

/// Where the lamp and the middles of the four bright panes are seen in `ref.JPG`, px from the picture's corner: the
/// centroid of what is brighter than 85 %, measured by hand with an image viewer.
const SEEN_IN_ROOM_LIGHT_PX: [(&str, [f64; 2]); 5] = [
    ("lamp", [494.0, 471.0]),
    ("pane upper left", [362.4, 208.2]),
    ("pane upper right", [588.2, 158.7]),
    ("pane lower left", [419.5, 292.5]),
    ("pane lower right", [570.4, 273.4]),
];

/// The published circle under parallel rays: the normal at s radii from the middle, mirrored.
fn direction_of_point(circle: &Outline, [x, y]: [f64; 2]) -> Vector3<f64> {
    let (nx, ny) = ((x - circle.centre_x) / circle.semi_a, (circle.centre_y - y) / circle.semi_a);
    let nz = (1.0 - nx * nx - ny * ny).sqrt();
    Vector3::new(2.0 * nz * nx, 2.0 * nz * ny, 2.0 * nz * nz - 1.0)
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn lamp_and_panes_of_the_room_are_separate_lights() {
    let folder = photographs();
    let circle = published_circle(&folder);
    let outcome = measure(&folder.join("ref.JPG"));
    let sphere = outcome.sphere.unwrap_or_else(|| panic!("no sphere: {:?}", outcome.error));
    for light in &sphere.lights {
        println!("light {:.1}, {:.1} deg, share {:.2}", light.azimuth_deg, light.elevation_deg, light.share);
    }
    let mut taken = Vec::new();
    for (name, point) in SEEN_IN_ROOM_LIGHT_PX {
        let expected = direction_of_point(&circle, point);
        let angle = |l: &LightReport| angle_between_rad(&direction(l), &expected).to_degrees();
        let lights = sphere.lights.iter().enumerate().map(|(i, l)| (i, angle(l)));
        let (index, off_deg) = lights.min_by(|a, b| a.1.total_cmp(&b.1)).expect("some light");
        println!("{name}: light {} is {off_deg:.2} deg away", index + 1);
        assert!(off_deg <= 4.0, "{name}: the nearest light is {off_deg:.1} deg away");
        assert!(!taken.contains(&index), "{name} shares a light with another");
        taken.push(index);
    }
}
