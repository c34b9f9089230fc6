//! What most likely happened, from the ratio of the two widths.

use super::source::Source;
use crate::sheet::{CameraSpec, SensorFormat, ShotSheet};

/// A slip explains the ratio where it comes within this of it, relative.
const SAME_RATIO: f64 = 0.004;

/// What to set, and the slip that explains it, where one does.
pub(super) fn remedy(sheet: &ShotSheet, real: &Source, rendered: &Source, width_ratio: f64) -> String {
    let target = match (real.focal_mm, real.width_mm()) {
        (Some(focal), Some(width)) => format!(
            "set the CG camera to {:.2} deg horizontal, which is {focal:.2} mm on a film back {width:.2} mm wide",
            real.fov_deg()
        ),
        _ => format!("set the CG camera to {:.2} deg horizontal", real.fov_deg()),
    };
    let view = if width_ratio < 1.0 { "too narrow" } else { "too wide" };
    let by = 100.0 * (width_ratio - 1.0).abs();
    let slip = slip(sheet.camera.as_ref(), real, rendered, width_ratio);
    let slip = slip.map_or_else(String::new, |slip| format!("; {slip}"));
    format!("{target}; according to {} its view is {by:.1} % {view}{slip}", rendered.name)
}

fn slip(camera: Option<&CameraSpec>, real: &Source, rendered: &Source, ratio: f64) -> Option<String> {
    let is = |expected: f64| (expected - 1.0).abs() > 2.0 * SAME_RATIO && (ratio / expected - 1.0).abs() < SAME_RATIO;
    let recorded = camera.and_then(|camera| slip_of_recording(camera, &is));
    recorded.or_else(|| slip_of_axis(real, &is)).or_else(|| other_gate(real, rendered, ratio))
}

/// Crop, downscale or squeeze.
fn slip_of_recording(camera: &CameraSpec, is: &dyn Fn(f64) -> bool) -> Option<String> {
    let read_out = camera.width_read_out();
    let squeeze = camera.squeeze.unwrap_or(1.0);
    if is(1.0 / read_out) {
        return Some(format!(
            "that is the whole sensor, of which only {:.1} % of the width was read out: the crop was forgotten",
            100.0 * read_out
        ));
    }
    if let (Some(used), Some(recorded)) = (camera.used_px, camera.recorded_px)
        && is(recorded[0] / used[0])
    {
        return Some(format!(
            "that is recorded_px over used_px: the downscale from {} to {} columns was mistaken for a crop",
            used[0], recorded[0]
        ));
    }
    if is(1.0 / squeeze) {
        return Some(format!("that is the squeeze of {squeeze}: the CG camera lacks it"));
    }
    is(squeeze).then(|| format!("that is the squeeze of {squeeze}, applied once too often"))
}

/// Width and height exchanged.
fn slip_of_axis(real: &Source, is: &dyn Fn(f64) -> bool) -> Option<String> {
    let shape = real.size.height as f64 / real.size.width as f64;
    if is(shape) {
        return Some("that is the plate's vertical field of view: the CG uses it as the horizontal one".to_owned());
    }
    is(1.0 / shape).then(|| "the plate's horizontal field of view was given to the CG as the vertical one".to_owned())
}

/// The right focal length on another gate.
fn other_gate(real: &Source, rendered: &Source, ratio: f64) -> Option<String> {
    let same_lens = rendered.focal_mm.zip(real.focal_mm).is_none_or(|(cg, plate)| (cg / plate - 1.0).abs() < 0.01);
    let width = real.width_mm()? * ratio;
    let gate = SensorFormat::of_width(width).filter(|_| same_lens)?;
    Some(format!("that is the same lens on the {} gate ({:.2} mm wide)", gate.name, gate.size_mm[0]))
}
