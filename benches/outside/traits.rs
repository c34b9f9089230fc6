//! What the search knows of every round outline of the shots, with whether it is that of a mirror sphere.

use std::error::Error;
use std::fmt::Write as _;
use std::path::Path;

use plateproof::shot::{SphereQuery, outlines_to_weigh};
use plateproof::sphere::find::TRAIT_NAMES;

use crate::finder::{frames, numbers};

/// An outline this close to a sphere, centre and radius together as a share of the radius, is of that sphere: how well it is
/// placed is another question.
const NEAR: f64 = 0.055;

/// Writes a line for each outline: shot, frame, whether it is a mirror sphere's, its traits.
pub(crate) fn write(folder: &Path, half: &str, file: &Path) -> Result<(), Box<dyn Error>> {
    let mut text = format!("shot,frame,mirror,off,x_px,y_px,r_px,{}\n", TRAIT_NAMES.join(","));
    for frame in frames(folder, half, "")? {
        let query = SphereQuery { image: frame.image, camera: frame.camera, ..SphereQuery::default() };
        let others = frame.truth["other_spheres"].as_array().cloned().unwrap_or_default();
        let mirrors = others.iter().filter(|o| o["name"] == "second_mirror").map(|o| numbers(&o["outline_px"]));
        let mirrors: Vec<[f64; 5]> = mirrors.chain([frame.outline]).collect();
        let shot = frame.name.split('/').next().unwrap_or_default().to_owned();
        for (outline, traits) in outlines_to_weigh(&query)? {
            let o = outline.to_array();
            let radius = |o: &[f64; 5]| (o[2] * o[3]).sqrt();
            let off = |m: &[f64; 5]| (o[0] - m[0]).hypot(o[1] - m[1]) + (radius(&o) - radius(m)).abs();
            let off = mirrors.iter().map(|m| off(m) / radius(m)).fold(f64::INFINITY, f64::min);
            let (is_mirror, place) = (off < NEAR, format!("{off:.4},{:.1},{:.1},{:.1}", o[0], o[1], radius(&o)));
            let traits: Vec<String> = traits.iter().map(|t| format!("{t:.5}")).collect();
            writeln!(text, "{shot},{},{},{place},{}", frame.name, u8::from(is_mirror), traits.join(","))?;
        }
    }
    std::fs::write(file, text)?;
    Ok(())
}
