//! Finding the sphere in a frame.
//!
//! A frame with alpha that outlines a round object gives the outline from the alpha's edge. Any other frame is
//! searched: edge elements on planes of halving resolution vote for circles in a map of the view in which every
//! sphere is an exact circle; circles that the edges around them bear out are fitted to the pixel on lines across the
//! rim; what they show inside tells the mirror from other round things. Where the rim is soft, the circle that most
//! lines across it agree on is taken instead. Where all this does not tell, edges about the place where a sphere is expected or seen
//! at a glance are weighed by the learned chance of a rim (`rim_chance`).

mod alpha;
mod consensus;
mod contour;
mod decide;
mod edgels;
mod faint;
mod fitted;
mod flat;
mod glance;
mod glanced;
mod interior;
mod layers;
mod look;
mod looked_at;
mod near;
mod plane;
mod rays;
mod refine;
mod rim_chance;
mod rim_model;
mod ring;
mod search;
mod surround;
mod traits;
mod unrolled;
mod votes;
mod weigh;

use nalgebra::Matrix3;

use super::{FoundBy, Outline, RimGap, SphereCone, SphereFit, SphereSearch, cone_of_outline, outline_of_cone};
use crate::image::Frame;
use crate::optics::camera::View;
use crate::{Error, ErrorKind, Result};

pub(crate) use alpha::sphere_of_alpha;
use consensus::{Aim, Consensus};
use contour::Contour;
pub(crate) use decide::LEAST_PROBABILITY;
use decide::{Decision, Ranked, decide, eligible, is_outline};
pub use fitted::{FitNotes, fit_from_cone};
use flat::circle_of_cone;
pub(crate) use near::told_sphere;
pub use near::{HeldAgainst, find_near, hold_against};
use search::Prepared;
pub use traits::TRAIT_NAMES;
pub(crate) use weigh::probabilities;

/// Smallest side of a frame in which a sphere can be looked for, px.
const SMALLEST_SIDE_PX: usize = 48;

/// Finds the sphere: from the frame's alpha where that outlines a round object, else by search.
///
/// # Errors
/// [`ErrorKind::NoSphere`] where nothing round that mirrors is found, naming what was found instead.
pub fn find_sphere(frame: &Frame, view: &View) -> Result<SphereSearch> {
    large_enough(frame)?;
    if let Some(best) = sphere_of_alpha(frame, view) {
        return Ok(SphereSearch { best, rivals: Vec::new() });
    }
    searched(&Prepared::new(frame, view)).or_else(|refusal| through_a_long_lens(frame, view).ok_or(refusal))
}

/// Field of view under which every outline is nearly a circle in the frame, degrees.
const LONG_LENS_FOV_DEG: f64 = 8.0;

/// Where the field of view is assumed, the sphere may be one that a much longer lens drew, close to the frame's edge or filling
/// the frame: searched for again as such, and fitted under the assumed view, whose uncertainty it then has.
fn through_a_long_lens(frame: &Frame, view: &View) -> Option<SphereSearch> {
    if !view.is_assumed() {
        return None;
    }
    let long = view.with_horizontal_fov(LONG_LENS_FOV_DEG);
    let found = searched(&Prepared::new(frame, &long)).ok().filter(|found| found.rivals.is_empty())?.best;
    let fit = fit_near(frame, view, &found.outline)?;
    let is_same = apart(&fit.outline, &found.outline) <= CONFIRMED_APART * found.outline.mean_radius();
    is_same.then(|| SphereSearch { best: SphereFit { score: found.score, ..fit }, rivals: Vec::new() })
}

/// The sphere of a photograph that stands where another one is known to stand; what lies elsewhere is not looked at.
///
/// # Errors
/// As [`find_sphere`].
pub(crate) fn find_sphere_about(frame: &Frame, view: &View, expected: &SphereCone) -> Result<SphereSearch> {
    large_enough(frame)?;
    searched(&Prepared::new(frame, view).expecting(circle_of_cone(view, expected)))
}

fn large_enough(frame: &Frame) -> Result<()> {
    let side = frame.data.width.min(frame.data.height);
    if side < SMALLEST_SIDE_PX { Err(no_sphere(frame, "the frame is too small to hold a sphere")) } else { Ok(()) }
}

fn searched(prepared: &Prepared<'_>) -> Result<SphereSearch> {
    let frame = prepared.frame;
    match decided(prepared) {
        Decision::Found { best, rivals } => {
            let best =
                placed(prepared, &best).ok_or_else(|| no_sphere(frame, "the outline found is not an ellipse"))?;
            Ok(SphereSearch { best, rivals: rivals.iter().filter_map(|r| placed(prepared, r)).collect() })
        }
        Decision::NothingRound => Err(no_sphere(frame, "no round outline stands out in the frame")),
        Decision::NoMirror => Err(no_mirror_in(frame)),
    }
}

/// What the votes of the edges give. Where that is not enough, together with the rims where a sphere is expected or seen at a glance;
/// where a rim seems to lie beside the outline found, together with that.
fn decided(prepared: &Prepared<'_>) -> Decision {
    let findings = prepared.findings();
    let more = match decide(prepared.seen(&findings)) {
        Decision::NothingRound | Decision::NoMirror => match prepared.expected() {
            Some(circle) => prepared.rims_about(circle),
            None => prepared.glanced(),
        },
        Decision::Found { best, .. } if best.finding.is_beside_the_rim() => prepared.rims_about(&best.finding.circle),
        decision @ Decision::Found { .. } => return decision,
    };
    decide(prepared.seen(&[findings, more].concat()))
}

/// Edges blurred by more than this (1 sd, px) are soft.
const SHARP_BLUR_PX: f64 = 1.5;
/// An outline seen on less than this fraction of its lines may be another circle that shares an arc with the rim.
const LEAST_SHARP_SUPPORT: f64 = 0.5;
/// A rim found by votes must stand out from its surroundings by this factor …
const LEAST_CONTRAST: f64 = 2.0;
/// … be seen on this fraction of the lines …
const LEAST_VOTED: f64 = 0.55;
/// … and lie no further from the fit than this, centre and radius together as a fraction of the radius.
const FARTHEST_VOTED: f64 = 0.06;

/// A soft outline must be seen on this fraction of its lines for the shape of its edges to be relied on, …
const LEAST_SOFT_SUPPORT: f64 = 0.7;
/// … a sharp one that the votes confirm on this …
const LEAST_SUPPORT_CONFIRMED: f64 = 0.36;
/// … to within this fraction of the radius, centre and radius together.
const CONFIRMED_WITHIN: f64 = 0.02;

/// The outline fitted to the pixel. Where its edges are soft or seen on few lines, the votes of all lines place it, unless
/// they confirm the fit: votes stand at the steepest place of an edge, and a mirror's own reflection runs into the surround
/// right at the rim, so that place lies inside it.
fn placed(prepared: &Prepared<'_>, ranked: &Ranked) -> Option<SphereFit> {
    let own = fit_of(prepared.frame, prepared.view, ranked)?;
    let c = &ranked.finding.consensus;
    if c.is_weighed {
        return Some(by_its_edges_alone(prepared, own));
    }
    let sharp = c.blur <= SHARP_BLUR_PX;
    if sharp && c.support >= LEAST_SHARP_SUPPORT {
        return Some(own);
    }
    let off = |r: &Contour| apart(&r.fit.outline, &own.outline) / own.outline.mean_radius();
    let clear = |r: &Contour| {
        let tight = r.fit.edge_sd_px <= r.widest_scatter_px();
        r.contrast >= LEAST_CONTRAST && r.support >= LEAST_VOTED && tight && off(r) <= FARTHEST_VOTED
    };
    let Some(voted) = prepared.contour_near(&ranked.finding.circle).filter(clear) else { return Some(own) };
    let enough = if sharp { LEAST_SUPPORT_CONFIRMED } else { LEAST_SOFT_SUPPORT };
    let confirmed = c.support >= enough && off(&voted) < CONFIRMED_WITHIN;
    Some(if confirmed { own } else { SphereFit { score: ranked.score, ..voted.fit } })
}

/// Chances tell places apart to a ring of the frame unrolled, as a part of the radius.
const ONE_RING: f64 = 0.019;

/// An outline whose edges were weighed by chances, fitted to the edges alone where these confirm it as nearly as chances tell; the two
/// differ by no more than either is doubted.
fn by_its_edges_alone(prepared: &Prepared<'_>, weighed: SphereFit) -> SphereFit {
    let near = |fit: &SphereFit| apart(&fit.outline, &weighed.outline) <= ONE_RING * weighed.outline.mean_radius();
    match confirmed_at(prepared.frame, prepared.view, &weighed.cone).filter(near) {
        Some(fit) => SphereFit { score: weighed.score, ..fit }.doubted_against(prepared.view, &weighed.cone),
        None => weighed,
    }
}

/// Every round outline in the frame that its edges bear out, best evidence first, whether or not it looks like a
/// mirror. For where something else tells which one is the sphere.
pub fn round_outlines(frame: &Frame, view: &View) -> Vec<SphereFit> {
    if large_enough(frame).is_err() {
        return Vec::new();
    }
    let mut findings = Prepared::new(frame, view).findings();
    findings.retain(is_outline);
    findings.sort_by(|a, b| b.consensus.evidence.total_cmp(&a.consensus.evidence));
    let fit = |f: &search::Finding| {
        let consensus = refine::polish(frame, f.consensus.clone());
        fit_noted(view, &consensus, FoundBy::Search, consensus.support)
    };
    findings.iter().filter_map(fit).collect()
}

/// Round outlines that may be a mirror sphere's, with ln of the odds of each against none of them. For where another picture
/// shows the same sphere: the odds of both count together.
pub(crate) fn likely_outlines(frame: &Frame, view: &View) -> Vec<(SphereFit, f64)> {
    let (findings, traits) = weighed(frame, view, looked_at::HOPELESS);
    let fit = |f: &search::Finding, odds: f64| {
        let consensus = refine::polish(frame, f.consensus.clone());
        Some((fit_noted(view, &consensus, FoundBy::Search, consensus.support)?, odds))
    };
    findings.iter().zip(weigh::log_odds(&traits)).filter_map(|(f, odds)| fit(f, odds)).collect()
}

/// A round outline with all that is weighed.
#[derive(Debug, Clone)]
pub struct WeighedOutline {
    /// The outline.
    pub outline: Outline,
    /// Its traits in the order of [`TRAIT_NAMES`].
    pub traits: Vec<f64>,
    /// Its picture, unrolled: planes of brightness, two differences of colour and coverage, by rings, by spokes. Empty where the
    /// frame shows less than half of it.
    pub unrolled: Vec<f32>,
}

/// Every round outline that was looked at closely: what the weights of the traits are fitted on, and the look of a mirror is
/// learned from.
pub fn weighed_outlines(frame: &Frame, view: &View) -> Vec<WeighedOutline> {
    let (findings, traits) = weighed(frame, view, f64::NEG_INFINITY);
    let weighed = |(f, t): (&search::Finding, [f64; traits::COUNT])| {
        let outline = outline_of_cone(&f.consensus.aim.view, &f.consensus.aim.cone)?;
        Some(WeighedOutline { outline, traits: t.to_vec(), unrolled: look::unrolled(frame, view, &f.circle) })
    };
    findings.iter().zip(traits).filter_map(weighed).collect()
}

/// What is weighed against each other in a frame, with its traits; what has lower odds is looked at less.
fn weighed(frame: &Frame, view: &View, least_odds: f64) -> (Vec<search::Finding>, Vec<[f64; traits::COUNT]>) {
    if large_enough(frame).is_err() {
        return Default::default();
    }
    let prepared = Prepared::new(frame, view);
    let findings = eligible([prepared.findings(), prepared.glanced()].concat());
    prepared.look_at(&findings, least_odds);
    let traits = traits::traits(&findings);
    (findings, traits)
}

/// Round things are there, and none is known to mirror.
pub(crate) fn no_mirror_in(frame: &Frame) -> Error {
    no_sphere(frame, NO_MIRROR)
}

const NO_MIRROR: &str = "there are round things in the frame, but none looks like a mirror";

fn no_sphere(frame: &Frame, cause: &str) -> Error {
    let remedy = "draw a circle around the sphere by hand (near_px in a sheet, --near on the command line), give its outline (outline_px, --outline), or use a frame in which the mirror sphere has a radius of at least 24 px";
    Error::new(ErrorKind::NoSphere, &frame.path, cause, remedy)
}

fn fit_of(frame: &Frame, view: &View, ranked: &Ranked) -> Option<SphereFit> {
    let consensus = refine::polish(frame, ranked.finding.consensus.clone());
    fit_noted(view, &consensus, FoundBy::Search, ranked.score)
}

fn fit_noted(view: &View, consensus: &Consensus, found_by: FoundBy, score: f64) -> Option<SphereFit> {
    let (unseen_fraction, edge_sd_px) = (1.0 - consensus.covered, consensus.edge_sd_px);
    let notes = FitNotes { found_by, unseen_fraction, gap: consensus.gap, edge_sd_px, score };
    fitted::fit_of_consensus(view, consensus, notes)
}

/// The sphere whose outline is given; `sd_px` is how well it is known (centre and radius each).
///
/// # Errors
/// [`ErrorKind::Parameter`] where the outline is degenerate or lies outside the frame.
pub fn given_sphere(frame: &Frame, view: &View, outline: &Outline, sd_px: f64) -> Result<SphereFit> {
    let fit = stated_sphere(frame, view, outline, sd_px)?;
    Ok(SphereFit { gap: gap_along(frame, view, outline), ..fit })
}

/// The same without a look at the picture: no gap is known.
fn stated_sphere(frame: &Frame, view: &View, outline: &Outline, sd_px: f64) -> Result<SphereFit> {
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
        return Err(wrong("the given outline is outside the frame"));
    }
    let cone = cone_of_outline(view, outline).ok_or_else(|| wrong("the given outline is not that of a sphere"))?;
    let variance = angular_variance(view, &cone.axis, sd_px.max(0.0));
    let notes =
        FitNotes { found_by: FoundBy::Given, unseen_fraction: 0.0, gap: None, edge_sd_px: sd_px.max(0.0), score: 1.0 };
    let mut fit =
        fit_from_cone(view, cone, variance, notes).ok_or_else(|| wrong("the given outline is not that of a sphere"))?;
    fit.outline = *outline;
    Ok(fit)
}

/// The stretch of a given outline at which the frame shows no edge; `None` where its edges are not those of this outline.
fn gap_along(frame: &Frame, view: &View, outline: &Outline) -> Option<RimGap> {
    let consensus = consensus_near(frame, view, outline)?;
    let found = outline_of_cone(&consensus.aim.view, &consensus.aim.cone)?;
    (apart(&found, outline) <= CONFIRMED_APART * outline.mean_radius()).then_some(consensus.gap).flatten()
}

/// Distance of the centres and difference of the radii together, px.
fn apart(a: &Outline, b: &Outline) -> f64 {
    (a.centre_x - b.centre_x).hypot(a.centre_y - b.centre_y) + (a.mean_radius() - b.mean_radius()).abs()
}

/// Covariance of two tangent angles and the half-angle for an sd of `sd_px` in each.
fn angular_variance(view: &View, axis: &nalgebra::Vector3<f64>, sd_px: f64) -> Matrix3<f64> {
    Matrix3::identity() * (sd_px * axis.z.abs() / view.focal_px).powi(2)
}

/// Refines a rough outline on the frame's edges; `None` where they do not support one near it.
pub fn fit_near(frame: &Frame, view: &View, start: &Outline) -> Option<SphereFit> {
    let consensus = consensus_near(frame, view, start)?;
    let enough = consensus.support >= LEAST_SUPPORT_NEAR;
    enough.then(|| fit_noted(view, &consensus, FoundBy::Search, consensus.support)).flatten()
}

/// The sphere that something else places here, where the frame's edges confirm it to a hair. So few lines need see the
/// rim then: an outline that only shares an arc with it would lie elsewhere.
pub(crate) fn confirmed_at(frame: &Frame, view: &View, expected: &SphereCone) -> Option<SphereFit> {
    let start = outline_of_cone(view, expected)?;
    let consensus = consensus_near(frame, view, &start)?;
    let found = outline_of_cone(&consensus.aim.view, &consensus.aim.cone)?;
    let confirmed = consensus.evidence >= CONFIRMED_EVIDENCE
        && consensus.support >= CONFIRMED_SUPPORT
        && consensus.longest_gap <= CONFIRMED_GAP
        && apart(&found, &start) <= CONFIRMED_APART * start.mean_radius();
    confirmed.then(|| fit_noted(view, &consensus, FoundBy::Search, consensus.support)).flatten()
}

/// An outline of which the edges alone show too little looks like a mirror from this score on. On path-traced shots
/// (`golden/outside`, the working half), eleven plates without a sphere score -6 to -1.4 where something round was fitted
/// at the CG's place, spheres 0.6 where the outline is right and -6 where it is 5 to 10 % off.
const LEAST_LOOK: f64 = -1.0;

/// Whether a place in a photograph looks like a mirror sphere, inside and around.
pub(crate) fn looks_like_mirror(frame: &Frame, view: &View, cone: &SphereCone) -> bool {
    look::look(frame, view, &circle_of_cone(view, cone)) >= LEAST_LOOK
}

/// Least fraction of lines that must see an outline near a rough one.
const LEAST_SUPPORT_NEAR: f64 = 0.25;

/// A sphere is confirmed where it is expected by at least this evidence (natural log; the fit moves by no more than a
/// few per cent of the radius, so that few outlines are tried), …
const CONFIRMED_EVIDENCE: f64 = 16.0;
/// … on at least this fraction of the lines, with no longer run of them unseen than this (what hides a third of a disc hides 41 %
/// of its rim), …
const CONFIRMED_SUPPORT: f64 = 0.2;
const CONFIRMED_GAP: f64 = 0.45;
/// … and with centre and radius together no further off than this fraction of the radius.
const CONFIRMED_APART: f64 = 0.05;

fn consensus_near(frame: &Frame, view: &View, start: &Outline) -> Option<Consensus> {
    consensus_from(&Prepared::new(frame, view), start)
}

fn consensus_from(prepared: &Prepared<'_>, start: &Outline) -> Option<Consensus> {
    let (frame, view) = (prepared.frame, prepared.view);
    let aim = Aim { view: view.clone(), cone: cone_of_outline(view, start)? };
    let consensus = refine::polish(frame, refine::refine(frame, &prepared.planes, &aim, 40.0)?);
    let found = outline_of_cone(&consensus.aim.view, &consensus.aim.cone)?;
    let moved = (found.centre_x - start.centre_x).hypot(found.centre_y - start.centre_y);
    (moved < 0.3 * start.mean_radius()).then_some(consensus)
}
