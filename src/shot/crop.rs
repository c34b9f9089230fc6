//! A CG picture of another shape than the photograph, of whose camera nothing is told but that it is the plate's.
//!
//! Rendered in another format with the plate's width it shows the sphere where the photograph does. Cut out of such a render, it
//! shows it anywhere, and every direction would turn with the sphere's place. Then the CG sphere is taken to stand where the
//! photographed one does, which tells what was cut away; where it stands is no longer judged.

use super::intake::fov_of_file;
use crate::findings::Report;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sheet::ShotSheet;
use crate::sphere::{SphereFit, angle_between_rad, outline_of_cone};

/// Shapes that differ by less than this are one (a pixel or two of rounding).
const SAME_SHAPE: f64 = 0.005;

/// Cones whose axes and half-angles together differ by less than this part of the half-angle are of one place.
const SAME_PLACE: f64 = 0.03;

/// A photographed sphere as it was found.
pub(super) type Seen<'a> = (&'a Frame, &'a View, &'a SphereFit);

/// The view of a CG picture that was cut out; `None` where it is as wide as its camera says, or its camera is its own.
pub(super) fn view_of_cut(
    sheet: &ShotSheet,
    (photographed, view, sphere): Seen<'_>,
    (cg, cg_view, cg_sphere): Seen<'_>,
    report: &mut Report,
) -> Option<View> {
    let stretch = shape(cg, cg_view) / shape(photographed, view);
    if tells_its_own_lens(sheet, cg) || (stretch - 1.0).abs() <= SAME_SHAPE || same_place(sphere, cg_sphere) {
        return None;
    }
    let there = outline_of_cone(&View { pixel_aspect: cg_view.pixel_aspect, ..view.clone() }, &sphere.cone)?;
    let here = cg_sphere.outline;
    let scale = here.mean_radius() / there.mean_radius();
    let cut = View { pixel_aspect: cg_view.pixel_aspect, ..view.clone() }.cut_out(
        scale,
        [there.centre_x, there.centre_y],
        [here.centre_x, here.centre_y],
    );
    let name = &cg.record.file;
    report.warnings.push(format!(
        "{name}: it is {}x{} where the photograph is {}x{}, and its sphere does not stand where the photographed one does: it is taken \
         for a part cut out of the frame, {scale:.2} times as large, with the sphere in the photographed one's place, which is not \
         judged; deliver the whole frame, or with its full display window, to have it judged",
        cg.size.width, cg.size.height, photographed.size.width, photographed.size.height
    ));
    Some(cut)
}

/// Width over height as displayed.
fn shape(frame: &Frame, view: &View) -> f64 {
    frame.size.width as f64 * view.pixel_aspect / frame.size.height as f64
}

fn tells_its_own_lens(sheet: &ShotSheet, cg: &Frame) -> bool {
    let told = |camera: &crate::sheet::CameraSpec| {
        camera.focal_length_mm.is_some() || camera.sensor_size_mm().is_some() || camera.fov_by_option_deg.is_some()
    };
    sheet.cg.camera.as_ref().is_some_and(told) || fov_of_file(cg).is_some()
}

fn same_place(a: &SphereFit, b: &SphereFit) -> bool {
    let apart = angle_between_rad(&a.cone.axis, &b.cone.axis) + (a.cone.half_angle_rad - b.cone.half_angle_rad).abs();
    apart < SAME_PLACE * a.cone.half_angle_rad
}
