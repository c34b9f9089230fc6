//! Exposures of all directions merged into one.

mod layout;
mod turn;
mod turned;

use nalgebra::Rotation3;

pub use self::turn::Turn;
use self::turn::{Shown, measure};
use super::bracket::response::{recover, stops_to_use};
use super::bracket::{BracketFrame, ceilings, merge};
use crate::Result;
use crate::image::encoding::Encoding;
use crate::image::{Frame, InputRecord};

/// Turns of less are not worth a line, rad (0.02 deg).
const TURN_TOLD_RAD: f64 = 3.5e-4;

/// A merged picture of all directions.
#[derive(Debug, Clone)]
pub struct Panorama {
    /// Linear, at the exposure of stops 0; its clip level is that of the shortest exposure.
    pub frame: Frame,
    /// Every file that went into it.
    pub inputs: Vec<InputRecord>,
    /// What was taken for granted or corrected.
    pub assumptions: Vec<String>,
    /// What the reader should know.
    pub warnings: Vec<String>,
}

/// Merges exposures of all directions as those of a sphere are merged, after each was turned into the place of the middle one.
///
/// # Errors
/// Where a frame is not lat-long, or as [`merge`].
pub fn merge_panorama(mut frames: Vec<BracketFrame>) -> Result<Panorama> {
    for exposure in &frames {
        layout::check(&exposure.frame)?;
    }
    let inputs = frames.iter().map(|f| f.frame.record.clone()).collect();
    let (mut assumptions, mut warnings) = (Vec::new(), Vec::new());
    frames.sort_by(|a, b| a.stops.0.total_cmp(&b.stops.0));
    let same = |f: &BracketFrame| f.frame.data == frames[0].frame.data;
    if frames.len() > 1 && frames.iter().all(same) {
        in_place(&mut frames, &mut assumptions, &mut warnings);
    }
    linearise(&mut frames, &mut assumptions, &mut warnings);
    for found in ceilings::settle(&mut frames) {
        let file = &frames[found.frame].frame.record.file;
        assumptions.push(format!(
            "{file}: {} pixels share the highest value: it is clipped there; if that is wrong, give clip_level",
            found.pixels
        ));
    }
    let merged = merge(frames)?;
    warnings.extend(merged.warnings.iter().cloned());
    let mut frame = Frame { eight_bit: false, integer_bits: None, format: "exr", warnings: Vec::new(), ..merged };
    frame.record.encoding = Encoding::SceneLinear.name().to_owned();
    Ok(Panorama { frame, inputs, assumptions, warnings })
}

/// How `moving` is turned against `fixed`, both pictures of all directions; `None` where they have too little in common. Exposure and
/// tone curve may differ.
pub fn turn_between(fixed: &Frame, moving: &Frame) -> Option<Turn> {
    measure(&Shown::of(fixed), &Shown::of(moving))
}

/// Turns every exposure into the place of the middle one, each measured against its neighbour, with which it has most in common.
fn in_place(frames: &mut [BracketFrame], assumptions: &mut Vec<String>, warnings: &mut Vec<String>) {
    let middle = frames.len() / 2;
    let shown: Vec<Shown> = frames.iter().map(|f| Shown::of(&f.frame)).collect();
    let mut rotations = vec![Rotation3::identity(); frames.len()];
    let outwards = (middle + 1..frames.len()).map(|i| (i, i - 1)).chain((0..middle).rev().map(|i| (i, i + 1)));
    for (place, neighbour) in outwards {
        let file = frames[place].frame.record.file.clone();
        let Some(turn) = measure(&shown[neighbour], &shown[place]) else {
            warnings.push(format!(
                "{file} has too little in common with its neighbour to be registered; it is used as it is"
            ));
            rotations[place] = rotations[neighbour];
            continue;
        };
        rotations[place] = turn.rotation * rotations[neighbour];
        let angle = rotations[place].angle();
        if angle > TURN_TOLD_RAD {
            assumptions.push(format!(
                "{file} is turned by {:.2} deg (sd {:.2}) against {}: this was corrected",
                angle.to_degrees(),
                turn.sd_rad.to_degrees(),
                frames[middle].frame.record.file
            ));
        }
    }
    for (exposure, rotation) in frames.iter_mut().zip(&rotations) {
        if rotation.angle() > 0.0 {
            exposure.frame = turned::turned_back(&exposure.frame, rotation);
        }
    }
}

/// Undoes the camera's tone curve, where the exposures went through one.
fn linearise(frames: &mut [BracketFrame], assumptions: &mut Vec<String>, warnings: &mut Vec<String>) {
    let nominal = |f: &BracketFrame| Encoding::parse(&f.frame.record.encoding).filter(|_| f.frame.is_display_picture());
    let Some(first) =
        frames.first().and_then(nominal).filter(|first| frames.iter().all(|f| nominal(f) == Some(*first)))
    else {
        return;
    };
    match recover(frames, first) {
        Ok(curve) => {
            let stated: Vec<f64> = frames.iter().map(|f| f.stops.0).collect();
            let stops = stops_to_use(&curve, &stated);
            for (exposure, stops) in frames.iter_mut().zip(stops) {
                curve.linearise(&mut exposure.frame, first);
                exposure.stops = stops;
            }
            assumptions.push(format!(
                "environment: response curve recovered from {} exposures (Debevec & Malik 1997), residual {:.3} stop over {} samples",
                frames.len(),
                curve.residual_stops,
                curve.samples
            ));
            if !curve.is_believable() || !curve.stops_agree(&stated) {
                warnings.push("environment: the stated stops contradict what the exposures show; check exposure_stops or the files' settings".to_owned());
            }
        }
        Err(why) => warnings.push(format!(
            "environment: the camera's tone curve could not be recovered from the bracket: {why}; its brightness is decoded with {} and is uncertain",
            first.name()
        )),
    }
}

#[cfg(test)]
mod tests;
