//! Finding the sphere in a frame.
//!
//! A frame with alpha that outlines a round object gives the outline from the alpha's edge. Any other frame is
//! searched: edge elements on planes of halving resolution vote for circles in a map of the view in which every
//! sphere is an exact circle; circles that the edges around them bear out are fitted to the pixel on lines across the
//! rim; what they show inside tells the mirror from other round things.

mod alpha;
mod consensus;
pub mod debug;
mod decide;
mod edgels;
mod fitted;
mod flat;
mod interior;
mod plane;
mod rays;
mod refine;
mod rim_model;
mod ring;
mod search;
mod votes;

use nalgebra::Matrix3;

use super::{FoundBy, Outline, SphereFit, SphereSearch, cone_of_outline, outline_of_cone};
use crate::camera::View;
use crate::image::Frame;
use crate::{Error, ErrorKind, Result};

use consensus::{Aim, Consensus};
use decide::{Decision, Ranked, decide};
pub use fitted::{FitNotes, fit_from_cone};
use search::Prepared;

/// Smallest side of a frame in which a sphere can be looked for, px.
const SMALLEST_SIDE_PX: usize = 48;

/// Finds the sphere: from the frame's alpha where that outlines a round object, else by search.
///
/// # Errors
/// [`ErrorKind::NoSphere`] where nothing round that mirrors is found, naming what was found instead.
pub fn find_sphere(frame: &Frame, view: &View) -> Result<SphereSearch> {
    if frame.data.width.min(frame.data.height) < SMALLEST_SIDE_PX {
        return Err(no_sphere(frame, "the frame is too small to hold a sphere"));
    }
    if let Some(best) = fit_from_alpha(frame, view) {
        return Ok(SphereSearch { best, rivals: Vec::new() });
    }
    match decide(Prepared::new(frame, view).findings()) {
        Decision::Found { best, rivals } => {
            let best = fit_of(frame, view, &best).ok_or_else(|| no_sphere(frame, "the outline found draws no ellipse"))?;
            Ok(SphereSearch { best, rivals: rivals.iter().filter_map(|r| fit_of(frame, view, r)).collect() })
        }
        Decision::NothingRound => Err(no_sphere(frame, "no round outline stands out in the frame")),
        Decision::NoMirror => Err(no_sphere(frame, "round things are in the frame, but none looks like a mirror")),
    }
}

fn fit_from_alpha(frame: &Frame, view: &View) -> Option<SphereFit> {
    let found = alpha::outline_in_alpha(frame, view)?;
    let notes = FitNotes {
        found_by: FoundBy::Alpha,
        unseen_fraction: found.unseen_fraction,
        edge_sd_px: found.edge_sd_px,
        score: 1.0 - found.unseen_fraction,
    };
    fit_from_cone(view, found.cone, found.cone_cov, notes)
}

fn no_sphere(frame: &Frame, cause: &str) -> Error {
    let remedy = "give the sphere's outline as outline_px, or a frame in which the mirror sphere is at least 24 px in radius";
    Error::new(ErrorKind::NoSphere, &frame.path, cause, remedy)
}

fn fit_of(frame: &Frame, view: &View, ranked: &Ranked) -> Option<SphereFit> {
    let consensus = refine::polish(frame, ranked.finding.consensus.clone());
    fit_noted(view, &consensus, FoundBy::Search, ranked.score)
}

fn fit_noted(view: &View, consensus: &Consensus, found_by: FoundBy, score: f64) -> Option<SphereFit> {
    let notes =
        FitNotes { found_by, unseen_fraction: 1.0 - consensus.support, edge_sd_px: consensus.edge_sd_px, score };
    fitted::fit_of_consensus(view, consensus, notes)
}

/// The sphere whose outline is given; `sd_px` is how well it is known (centre and radius each).
///
/// # Errors
/// [`ErrorKind::Parameter`] where the outline is degenerate or lies outside the frame.
pub fn given_sphere(frame: &Frame, view: &View, outline: &Outline, sd_px: f64) -> Result<SphereFit> {
    let wrong = |cause: &str| {
        Error::new(ErrorKind::Parameter, &frame.path, cause, "give outline_px as [centre x, centre y, radius] in px")
    };
    let numbers = outline.to_array();
    if !numbers.iter().all(|v| v.is_finite()) || outline.semi_a < 2.0 || outline.semi_b < 2.0 {
        return Err(wrong("the given outline has no size"));
    }
    let reach = outline.semi_a.max(outline.semi_b);
    let (width, height) = (frame.size.width as f64, frame.size.height as f64);
    let outside = |centre: f64, size: f64| centre < 0.0 || centre > size || reach > 2.0 * width.max(height);
    if outside(outline.centre_x, width) || outside(outline.centre_y, height) {
        return Err(wrong("the given outline lies outside the frame"));
    }
    let cone = cone_of_outline(view, outline).ok_or_else(|| wrong("the given outline is not that of a sphere"))?;
    let variance = angular_variance(view, &cone.axis, sd_px.max(0.0));
    let notes = FitNotes { found_by: FoundBy::Given, unseen_fraction: 0.0, edge_sd_px: sd_px.max(0.0), score: 1.0 };
    let mut fit = fit_from_cone(view, cone, variance, notes)
        .ok_or_else(|| wrong("the given outline is not that of a sphere"))?;
    fit.outline = *outline;
    Ok(fit)
}

/// Covariance of two tangent angles and the half-angle for an sd of `sd_px` in each.
fn angular_variance(view: &View, axis: &nalgebra::Vector3<f64>, sd_px: f64) -> Matrix3<f64> {
    Matrix3::identity() * (sd_px * axis.z.abs() / view.focal_px).powi(2)
}

/// Refines a rough outline on the frame's edges; `None` where they do not support one near it.
pub fn fit_near(frame: &Frame, view: &View, start: &Outline) -> Option<SphereFit> {
    let cone = cone_of_outline(view, start)?;
    let prepared = Prepared::new(frame, view);
    let aim = Aim { view: view.clone(), cone };
    let consensus = refine::polish(frame, refine::refine(frame, &prepared.planes, &aim, 40.0)?);
    let found = outline_of_cone(&consensus.aim.view, &consensus.aim.cone)?;
    let moved = (found.centre_x - start.centre_x).hypot(found.centre_y - start.centre_y);
    let stayed = moved < 0.3 * start.mean_radius() && consensus.support >= 0.3;
    stayed.then(|| fit_noted(view, &consensus, FoundBy::Search, consensus.support)).flatten()
}
