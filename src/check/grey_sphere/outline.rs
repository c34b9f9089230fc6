//! Which round thing in the frame is the grey sphere.
//!
//! The search for mirror spheres asks whether a thing mirrors, and a mirror sphere often stands beside the matte one.
//! So every round outline is held against the grey sphere that the mirror predicts, and the one shaded like it is
//! taken.

use super::recover::recover;
use super::shading::{scatter_stops, shaded_points};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sphere::SphereFit;
use crate::sphere::find::{round_outlines, sphere_of_alpha};
use crate::{Error, ErrorKind, Result};

/// Outlines looked at, best evidence first.
const MOST_OUTLINES: usize = 8;

/// A grey sphere in the mirror's light departs from the prediction by no more than this (1 sd over its points, the
/// level taken out); a mirror sphere departs by whole stops.
const MOST_SCATTER_STOPS: f64 = 0.6;

/// Another thing within this factor of the best one's scatter leaves open which it is.
const RIVAL_FACTOR: f64 = 1.5;

/// Outlines whose centres lie within this fraction of the radius are of one thing.
const SAME_THING: f64 = 0.25;

/// Finds it.
///
/// # Errors
/// [`ErrorKind::NoSphere`] where nothing round is shaded like a grey sphere, [`ErrorKind::Parameter`] where several
/// are.
pub(super) fn matte_outline(frame: &Frame, view: &View, mirror: &SphereMeasurement) -> Result<SphereFit> {
    if let Some(fit) = sphere_of_alpha(frame, view) {
        return Ok(fit);
    }
    let round = round_outlines(frame, view);
    let scatter = |fit: &SphereFit| {
        let points = shaded_points(frame, view, fit, [1.0; 3]);
        scatter_stops(mirror, &points, &recover(mirror, &points, false))
    };
    let mut shaded: Vec<(f64, &SphereFit)> =
        round.iter().take(MOST_OUTLINES).filter_map(|fit| Some((scatter(fit)?, fit))).collect();
    shaded.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some((least, best)) = shaded.first().filter(|(scatter, _)| *scatter < MOST_SCATTER_STOPS) else {
        let cause = format!("none of {} round things is shaded like a grey sphere in the mirror's light", round.len());
        return Err(Error::new(
            ErrorKind::NoSphere,
            &frame.path,
            cause,
            "give its outline as outline_px of its entry, or a circle drawn by hand as near_px",
        ));
    };
    let apart = |a: &SphereFit, b: &SphereFit| {
        (a.outline.centre_x - b.outline.centre_x).hypot(a.outline.centre_y - b.outline.centre_y)
    };
    let is_rival = |(scatter, fit): &&(f64, &SphereFit)| {
        *scatter < RIVAL_FACTOR * least && apart(fit, best) > SAME_THING * best.outline.mean_radius()
    };
    if shaded.iter().any(|other| is_rival(&other)) {
        let cause = "several round things are shaded like a grey sphere in the mirror's light";
        return Err(Error::new(
            ErrorKind::Parameter,
            &frame.path,
            cause,
            "give the right one as outline_px of its entry, or a circle drawn by hand as near_px",
        ));
    }
    Ok((*best).clone())
}
