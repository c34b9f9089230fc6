//! The environment from its exposures.

use std::f64::consts::PI;
use std::path::Path;

use super::{Addition, ShotEvidence};
use crate::base::units::Stops;
use crate::findings::Attachment;
use crate::image::Frame;
use crate::image::write::{ExrAttributes, SampleDepth, exr_bytes};
use crate::light::environment::{Convention, convention_of, direction};
use crate::register::bracket::{BracketFrame, stops_from_metadata};
use crate::register::panorama::merge_panorama;
use crate::sheet::{EnvironmentSpec, ImageSpec};
use crate::sphere::azimuth_elevation_deg;
use crate::{Error, ErrorKind, Result};

/// Clipped pixels nearer to each other than this are one light, rad (5 deg).
const ONE_LIGHT_RAD: f64 = 0.087;

/// Largest number that a half float holds, less some (IEEE 754-2008: 65504).
const LARGEST_HALF: f32 = 60_000.0;

/// Lights that are told by name.
const MOST_TOLD: usize = 6;

/// Opens, registers and merges the exposures; says of each what was done, and what still clips.
pub(super) fn merged(shot: &ShotEvidence<'_>, spec: &EnvironmentSpec, addition: &mut Addition) -> Result<Frame> {
    let opened: Vec<Frame> =
        spec.bracket.iter().map(|image| (shot.open)(image, "environment")).collect::<Result<_>>()?;
    let stops = stops(&spec.bracket, &opened)?;
    let frames = opened.into_iter().zip(stops).map(|(frame, stops)| BracketFrame { frame, stops: Stops(stops) });
    let merged = merge_panorama(frames.collect())?;
    addition.inputs.extend(merged.inputs);
    addition.assumptions.extend(merged.assumptions);
    addition.warnings.extend(merged.warnings);
    if spec.bracket.iter().all(|image| image.exposure_stops.is_none()) {
        addition.assumptions.push(format!(
            "environment: its exposures are relative to {}, and how that was exposed against the plate is not stated (exposure_stops)",
            merged.frame.record.file
        ));
    }
    addition.warnings.extend(clipped_words(&merged.frame));
    if shot.fixes {
        addition.attachments.push(Attachment { ending: "environment.exr".to_owned(), bytes: exr(&merged.frame)? });
    }
    Ok(merged.frame)
}

/// Stops of every exposure: as stated, else by the files' settings against the middle one.
fn stops(specs: &[ImageSpec], frames: &[Frame]) -> Result<Vec<f64>> {
    if let Some(stated) = specs.iter().map(|spec| spec.exposure_stops).collect() {
        return Ok(stated);
    }
    let mut order: Vec<usize> = (0..frames.len()).collect();
    let exposed = |i: &usize| frames[*i].meta.exposure_stops().unwrap_or(f64::NAN);
    order.sort_by(|a, b| exposed(a).total_cmp(&exposed(b)));
    // An exposure whose stops are stated ties the others to the plate.
    let anchor = specs.iter().position(|spec| spec.exposure_stops.is_some());
    let anchor = anchor.or(order.get(frames.len() / 2).copied()).unwrap_or(0);
    let base = specs[anchor].exposure_stops.unwrap_or(0.0);
    let each = specs.iter().zip(frames).map(|(spec, frame)| {
        let by_file = || Some(base + stops_from_metadata(&frames[anchor].meta, &frame.meta)?.0);
        spec.exposure_stops.or_else(by_file).ok_or_else(|| {
            let cause = "neither the sheet nor the file says how it was exposed against the other exposures";
            Error::new(
                ErrorKind::Parameter,
                &frame.path,
                cause,
                "add `exposure_stops` to every exposure, + = recorded brighter",
            )
        })
    });
    each.collect()
}

/// Which lights the shortest exposure still clips.
fn clipped_words(frame: &Frame) -> Option<String> {
    let level = frame.clip_level?;
    let (convention, size) = (convention_of(frame), [frame.data.width, frame.data.height]);
    let mut lights: Vec<(nalgebra::Vector3<f64>, f64)> = Vec::new();
    for (index, rgb) in frame.rgb.iter().enumerate() {
        if !(0..3).any(|c| rgb[c] >= 0.999 * level[c]) {
            continue;
        }
        let (column, row) = (index % size[0], index / size[0]);
        let [longitude, latitude] = convention.longitude_latitude([column as f64, row as f64], size);
        let (at, steradian) = (direction(longitude, latitude), convention.steradian(row, size));
        match lights.iter_mut().find(|(middle, _)| middle.normalize().dot(&at) > ONE_LIGHT_RAD.cos()) {
            Some((middle, sum)) => {
                *middle += steradian * at;
                *sum += steradian;
            }
            None => lights.push((steradian * at, steradian)),
        }
    }
    lights.sort_by(|a, b| b.1.total_cmp(&a.1));
    let words: Vec<String> = lights
        .iter()
        .take(MOST_TOLD)
        .map(|(middle, steradian)| {
            let [azimuth, elevation] = azimuth_elevation_deg(&middle.normalize());
            let across_deg = 2.0 * (steradian / PI).sqrt().to_degrees();
            format!("at {azimuth:.0} deg from its middle and {elevation:.0} deg up, {across_deg:.1} deg across")
        })
        .collect();
    let count = lights.len();
    (count > 0).then(|| {
        format!(
            "environment: the shortest exposure still clips {count} light{}: {}; their light is a lower bound, and shorter exposures are missing",
            if count == 1 { "" } else { "s" },
            words.join("; ")
        )
    })
}

/// The merged picture as a file, in linear light with BT.709 primaries. Half floats would cut bright lights at 65504. The
/// standard's `envmap` means the poles to lie in the middle of the first and the last row, so only a picture that had it keeps it.
fn exr(frame: &Frame) -> Result<Vec<u8>> {
    let working = |rgb: &[f32; 3]| {
        let rgb = if rgb[0].is_finite() { rgb.map(f64::from) } else { [0.0; 3] };
        frame.space.to_working(rgb).map(|value| value as f32)
    };
    let rgb: Vec<[f32; 3]> = frame.rgb.iter().map(working).collect();
    let largest = rgb.iter().flatten().copied().fold(0.0, f32::max);
    let attributes = ExrAttributes {
        depth: if largest > LARGEST_HALF { SampleDepth::Float } else { SampleDepth::Half },
        lat_long: convention_of(frame) == Convention::OpenExr,
        software: Some(format!("plateproof {}", env!("CARGO_PKG_VERSION"))),
        ..ExrAttributes::default()
    };
    exr_bytes(Path::new("merged environment"), frame.size, frame.data, &rgb, None, &attributes)
}
