//! A cone with its covariance → everything a fitted sphere states.

use nalgebra::{Matrix3, Matrix4, Matrix5, SMatrix, SVector, Vector4};

use super::consensus::{Aim, Consensus};
use crate::optics::camera::View;
use crate::sphere::{FoundBy, Outline, RimGap, SphereCone, SphereFit, cone_of_outline, outline_of_cone, tangents};

/// Standard deviation of an angle of which nothing is known: uniform over 180°.
const UNKNOWN_ANGLE_SD_DEG: f64 = 51.96;

/// What a fit says beside its cone.
#[derive(Debug, Clone, Copy)]
pub struct FitNotes {
    /// How it was found.
    pub found_by: FoundBy,
    /// Fraction of the outline without a usable edge.
    pub unseen_fraction: f64,
    /// Longest stretch without one.
    pub gap: Option<RimGap>,
    /// Robust standard deviation of the edge points about the fit, px.
    pub edge_sd_px: f64,
    /// Quality in [0, 1].
    pub score: f64,
}

/// Completes a fit from a cone under `view` and the covariance of its two tangent angles and half-angle (rad²).
/// `None` where the cone draws no ellipse.
pub fn fit_from_cone(view: &View, cone: SphereCone, cone_cov: Matrix3<f64>, notes: FitNotes) -> Option<SphereFit> {
    let mut covariance = Matrix4::zeros();
    covariance.fixed_view_mut::<3, 3>(0, 0).copy_from(&cone_cov);
    complete(view, &Aim { view: view.clone(), cone }, &covariance, notes)
}

/// The fit that a consensus stands for, under the view that the caller works with.
pub(super) fn fit_of_consensus(view: &View, consensus: &Consensus, notes: FitNotes) -> Option<SphereFit> {
    complete(view, &consensus.aim, &consensus.covariance, notes)
}

fn complete(view: &View, aim: &Aim, covariance: &Matrix4<f64>, notes: FitNotes) -> Option<SphereFit> {
    let outline = outline_of_cone(&aim.view, &aim.cone)?;
    let cone = cone_of_outline(view, &outline)?;
    let jacobian = jacobian(view, aim, covariance, &outline, &cone)?;
    let joint = jacobian * covariance * jacobian.transpose();
    let mut outline_cov: Matrix5<f64> = joint.fixed_view::<5, 5>(0, 0).into_owned();
    limit_angle_variance(&mut outline_cov, &outline);
    let cone_cov: Matrix3<f64> = joint.fixed_view::<3, 3>(5, 5).into_owned();
    let finite = outline_cov.iter().chain(cone_cov.iter()).all(|v| v.is_finite());
    finite.then(|| SphereFit {
        cone,
        cone_cov: symmetric(cone_cov),
        outline,
        outline_cov,
        found_by: notes.found_by,
        unseen_fraction: notes.unseen_fraction.clamp(0.0, 1.0),
        gap: notes.gap,
        edge_sd_px: notes.edge_sd_px,
        score: notes.score.clamp(0.0, 1.0),
    })
}

fn symmetric(m: Matrix3<f64>) -> Matrix3<f64> {
    0.5 * (m + m.transpose())
}

/// Central differences of (five outline numbers, three cone numbers under `view`) by the four fit parameters, each
/// moved by a tenth of its sd.
fn jacobian(
    view: &View,
    aim: &Aim,
    covariance: &Matrix4<f64>,
    outline: &Outline,
    cone: &SphereCone,
) -> Option<SMatrix<f64, 8, 4>> {
    let across = tangents(&cone.axis);
    let numbers = |aim: &Aim| {
        let o = outline_of_cone(&aim.view, &aim.cone)?;
        let c = cone_of_outline(view, &o)?;
        let angle = outline.angle_deg + (o.angle_deg - outline.angle_deg + 90.0).rem_euclid(180.0) - 90.0;
        let tilt = across.map(|t| t.dot(&c.axis));
        Some(SVector::<f64, 8>::from([
            o.centre_x,
            o.centre_y,
            o.semi_a,
            o.semi_b,
            angle,
            tilt[0],
            tilt[1],
            c.half_angle_rad,
        ]))
    };
    let mut jacobian = SMatrix::<f64, 8, 4>::zeros();
    for i in 0..4 {
        let step = (0.1 * covariance[(i, i)].max(0.0).sqrt()).max(1e-9);
        let mut by = Vector4::zeros();
        by[i] = step;
        let change = numbers(&aim.stepped(&by)?)? - numbers(&aim.stepped(&-by)?)?;
        jacobian.set_column(i, &(change / (2.0 * step)));
    }
    Some(jacobian)
}

/// The angle of a nearly round ellipse is unknown, however the derivative comes out.
fn limit_angle_variance(cov: &mut Matrix5<f64>, outline: &Outline) {
    let stretch = (outline.semi_a - outline.semi_b).max(1e-9);
    let axis_sd = (0.5 * (cov[(2, 2)] + cov[(3, 3)])).max(0.0).sqrt();
    let sd = cov[(4, 4)].max(0.0).sqrt();
    let limited = if axis_sd > stretch { UNKNOWN_ANGLE_SD_DEG } else { sd.min(UNKNOWN_ANGLE_SD_DEG) };
    let shrink = if sd > 0.0 { (limited / sd).min(1.0) } else { 0.0 };
    for i in 0..4 {
        cov[(i, 4)] *= shrink;
        cov[(4, i)] *= shrink;
    }
    cov[(4, 4)] = limited * limited;
}
