//! The predicted spheres as files beside the report.

use std::path::Path;

use super::super::shot_check::PairEvidence;
use super::Captured;
use super::prediction::Predicted;
use crate::Result;
use crate::findings::Attachment;
use crate::image::Size;
use crate::image::marked_png::encode_png;
use crate::image::write::{ExrAttributes, SampleDepth, exr_bytes};
use crate::light::environment::{PredictedSphere, predict_matte};
use crate::sheet::{MirrorReflectance, ShotSheet};

/// Reflectance of the grey sphere where the sheet names none: the usual grey (common practice, no source).
const GREY: f64 = 0.18;

/// Reflectance of a mirror sphere that nobody measured, as the comparison takes it.
const UNKNOWN_REFLECTANCE: f64 = 0.7;

/// Mirror and grey sphere as OpenEXR and PNG, in the photographed frame's place and size.
pub(super) fn pictures(
    sheet: &ShotSheet,
    pair: &PairEvidence<'_>,
    captured: &Captured<'_>,
    predicted: &Predicted,
) -> Result<Vec<Attachment>> {
    let mirror = &pair.comparison.mirror;
    let reflectance = sheet
        .mirror(&mirror.name)
        .and_then(|m| m.reflectance)
        .map_or([UNKNOWN_REFLECTANCE; 3], MirrorReflectance::head_on);
    let sources = captured.light.gathered(&predicted.stance).completed();
    let grey = sheet.grey_spheres.first().and_then(|m| m.reflectance).unwrap_or([GREY; 3]);
    let matte = predict_matte(&sources, &mirror.geometry, &mirror.fit.outline, grey);
    let (size, aspect) = (pair.mirror_frame.size, mirror.view.pixel_aspect);
    let mut files = Vec::with_capacity(4);
    for (kind, sphere) in [("mirror", predicted.sphere.clone().scaled(reflectance)), ("matte", matte)] {
        let ending = |kind_of_file: &str| format!("predicted-{kind}.{}.{kind_of_file}", mirror.name);
        files.push(Attachment { ending: ending("exr"), bytes: exr(&sphere, size, aspect)? });
        files.push(Attachment { ending: ending("png"), bytes: png(&sphere, size)? });
    }
    Ok(files)
}

fn exr(sphere: &PredictedSphere, size: Size, pixel_aspect: f64) -> Result<Vec<u8>> {
    let attributes = ExrAttributes {
        depth: SampleDepth::Float,
        pixel_aspect: pixel_aspect as f32,
        software: Some(format!("plateproof {}", env!("CARGO_PKG_VERSION"))),
        ..ExrAttributes::default()
    };
    exr_bytes(Path::new("predicted sphere"), size, sphere.data, &sphere.rgb, Some(&sphere.alpha), &attributes)
}

/// The whole frame on black, 1.0 as white.
fn png(sphere: &PredictedSphere, size: Size) -> Result<Vec<u8>> {
    let mut bytes = vec![0_u8; size.width * size.height * 3];
    for (index, rgb) in sphere.rgb.iter().enumerate() {
        let x = sphere.data.x + (index % sphere.data.width) as i64;
        let y = sphere.data.y + (index / sphere.data.width) as i64;
        let inside = (0..size.width as i64).contains(&x) && (0..size.height as i64).contains(&y);
        if inside {
            let at = (y as usize * size.width + x as usize) * 3;
            bytes[at..at + 3].copy_from_slice(&rgb.map(srgb_code));
        }
    }
    encode_png(size.width as u32, size.height as u32, &bytes, "sphere predicted from the environment")
}

/// sRGB code of a linear value (IEC 61966-2-1).
fn srgb_code(linear: f32) -> u8 {
    let v = linear.clamp(0.0, 1.0);
    let code = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (code * 255.0).round() as u8
}
