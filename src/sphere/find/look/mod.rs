//! How much the unrolled picture of a round outline looks like a mirror sphere: a small scorer, learned on path-traced
//! shots (`golden/outside`, the practice shots alone). It weighs outlines that the edges gave and never moves one.

mod net;
mod patch;

use patch::patch;

use super::flat::Circle;
use crate::image::Frame;
use crate::optics::camera::View;

/// Scores are kept within this: beyond, more of it says no more, least of all of pictures unlike those it was learned on.
const MOST: f64 = 6.0;

/// ln of the odds, up to a constant, that a circle's inside is a mirror's and its outside what is mirrored; 0 where the frame
/// shows less than half of it.
pub(super) fn look(frame: &Frame, view: &View, circle: &Circle) -> f64 {
    patch(frame, view, circle).map_or(0.0, |patch| f64::from(net::score(patch)).clamp(-MOST, MOST))
}

/// The unrolled picture on which the look is learned; empty where the frame shows less than half of it.
pub(super) fn unrolled(frame: &Frame, view: &View, circle: &Circle) -> Vec<f32> {
    patch(frame, view, circle).unwrap_or_default()
}
