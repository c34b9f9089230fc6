//! What most likely happened, from the ratio of the two widths.

use super::source::Source;
use crate::findings::remedy::{Slip, Step};
use crate::sheet::{CameraSpec, SensorFormat, ShotSheet};

/// A slip explains the ratio where it comes within this of it, relative.
const SAME_RATIO: f64 = 0.004;

/// What to set, and the slip that explains it, where one does.
pub(super) fn remedy(sheet: &ShotSheet, real: &Source, rendered: &Source, width_ratio: f64) -> Step {
    Step::SetCgView {
        fov_deg: real.fov_deg(),
        lens_on_back_mm: real.focal_mm.zip(real.width_mm()).map(|(focal, width)| [focal, width]),
        told_by: rendered.name.clone(),
        width_ratio,
        slip: slip(sheet.camera.as_ref(), real, rendered, width_ratio),
    }
}

fn slip(camera: Option<&CameraSpec>, real: &Source, rendered: &Source, ratio: f64) -> Option<Slip> {
    let is = |expected: f64| (expected - 1.0).abs() > 2.0 * SAME_RATIO && (ratio / expected - 1.0).abs() < SAME_RATIO;
    let recorded = camera.and_then(|camera| slip_of_recording(camera, &is));
    recorded.or_else(|| slip_of_axis(real, &is)).or_else(|| other_gate(real, rendered, ratio))
}

/// Crop, downscale or squeeze.
fn slip_of_recording(camera: &CameraSpec, is: &dyn Fn(f64) -> bool) -> Option<Slip> {
    let read_out = camera.width_read_out();
    let squeeze = camera.squeeze.unwrap_or(1.0);
    if is(1.0 / read_out) {
        return Some(Slip::CropForgotten { read_out });
    }
    if let (Some(used), Some(recorded)) = (camera.used_px, camera.recorded_px)
        && is(recorded[0] / used[0])
    {
        return Some(Slip::DownscaleTakenForCrop { from: used[0], to: recorded[0] });
    }
    if is(1.0 / squeeze) {
        return Some(Slip::SqueezeMissing(squeeze));
    }
    is(squeeze).then_some(Slip::SqueezeTwice(squeeze))
}

/// Width and height exchanged.
fn slip_of_axis(real: &Source, is: &dyn Fn(f64) -> bool) -> Option<Slip> {
    let shape = real.size.height as f64 / real.size.width as f64;
    if is(shape) {
        return Some(Slip::VerticalAsHorizontal);
    }
    is(1.0 / shape).then_some(Slip::HorizontalAsVertical)
}

/// The right focal length on another gate.
fn other_gate(real: &Source, rendered: &Source, ratio: f64) -> Option<Slip> {
    let same_lens = rendered.focal_mm.zip(real.focal_mm).is_none_or(|(cg, plate)| (cg / plate - 1.0).abs() < 0.01);
    let width = real.width_mm()? * ratio;
    let gate = SensorFormat::of_width(width).filter(|_| same_lens)?;
    Some(Slip::OtherGate { name: gate.name, width_mm: gate.size_mm[0] })
}
