//! What the search knows of every round outline of the shots, with whether it is that of a mirror sphere.

use std::error::Error;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use plateproof::shot::{SphereQuery, outlines_to_weigh};
use plateproof::sphere::find::TRAIT_NAMES;
use serde_json::Value;

use crate::finder::{frames, numbers};

/// An outline this close to a sphere, centre and radius together as a share of the radius, is of that sphere: how well it is
/// placed is another question.
const NEAR: f64 = 0.055;

/// Writes a line for each outline: shot, frame, whether it is a mirror sphere's, its traits. The plates, from which the sphere had
/// been taken away, are among the frames: there every outline is another thing's.
/// Beside the table the unrolled pictures go, in the same order, as little-endian 16-bit floats (`FILE.unrolled`).
pub(crate) fn write(folder: &Path, half: &str, file: &Path) -> Result<(), Box<dyn Error>> {
    let mut unrolled = BufWriter::new(File::create(file.with_extension("unrolled"))?);
    let mut text = format!("shot,frame,mirror,off,x_px,y_px,r_px,{}\n", TRAIT_NAMES.join(","));
    let mut last = String::new();
    for frame in frames(folder, half, "")? {
        let shot = frame.name.split('/').next().unwrap_or_default().to_owned();
        if shot != last
            && let Some(plate) = frame.plate
        {
            let query = SphereQuery { image: plate, camera: frame.camera.clone(), ..SphereQuery::default() };
            add(&mut text, &mut unrolled, &shot, "plate", &query, &seconds(&frame.truth))?;
        }
        last.clone_from(&shot);
        let query = SphereQuery { image: frame.image, camera: frame.camera, ..SphereQuery::default() };
        let mirrors: Vec<[f64; 5]> = seconds(&frame.truth).into_iter().chain([frame.outline]).collect();
        add(&mut text, &mut unrolled, &shot, &frame.name, &query, &mirrors)?;
    }
    std::fs::write(file, text)?;
    Ok(())
}

/// Outlines of further mirror spheres that stand in the set.
fn seconds(truth: &Value) -> Vec<[f64; 5]> {
    let others = truth["other_spheres"].as_array().cloned().unwrap_or_default();
    others.iter().filter(|o| o["name"] == "second_mirror").map(|o| numbers(&o["outline_px"])).collect()
}

fn add(
    text: &mut String,
    unrolled: &mut impl Write,
    shot: &str,
    frame: &str,
    query: &SphereQuery,
    mirrors: &[[f64; 5]],
) -> Result<(), Box<dyn Error>> {
    for found in outlines_to_weigh(query)? {
        let o = found.outline.to_array();
        let radius = |o: &[f64; 5]| (o[2] * o[3]).sqrt();
        let off = |m: &[f64; 5]| (o[0] - m[0]).hypot(o[1] - m[1]) + (radius(&o) - radius(m)).abs();
        let off = mirrors.iter().map(|m| off(m) / radius(m)).fold(f64::INFINITY, f64::min);
        let (is_mirror, place) = (off < NEAR, format!("{off:.4},{:.1},{:.1},{:.1}", o[0], o[1], radius(&o)));
        let traits: Vec<String> = found.traits.iter().map(|t| format!("{t:.5}")).collect();
        writeln!(text, "{shot},{frame},{},{place},{}", u8::from(is_mirror), traits.join(","))?;
        for value in &found.unrolled {
            unrolled.write_all(&half::f16::from_f32(*value).to_le_bytes())?;
        }
    }
    Ok(())
}
