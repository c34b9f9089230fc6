//! Long straight edges of the world in a picture, and the lens distortion that bends them.

mod distortion;
mod edgels;
mod fit;
mod trace;

#[cfg(test)]
mod outside_tests;
#[cfg(test)]
mod tests;

pub use distortion::{Distortion, DistortionModel};
pub use fit::{LensFit, NoLensFit, fit_lens};

use crate::image::Frame;

/// A traced edge: places along it from end to end, px from the frame's top-left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    /// Means over short pieces, so that neighbours are nearly independent.
    pub points: Vec<[f64; 2]>,
}

impl Edge {
    /// Distance of its ends, px.
    pub fn length(&self) -> f64 {
        match (self.points.first(), self.points.last()) {
            (Some(a), Some(b)) => (a[0] - b[0]).hypot(a[1] - b[1]),
            _ => 0.0,
        }
    }
}

/// The long smooth edges of a frame, longest first.
pub fn long_edges(frame: &Frame) -> Vec<Edge> {
    let picture = edgels::Picture::of(frame);
    let found = edgels::find(&picture);
    let mut edges = trace::trace(&found, picture.scale);
    edges.sort_by(|a, b| b.length().total_cmp(&a.length()));
    edges
}
