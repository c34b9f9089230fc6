//! Faults of the photographed sphere itself, found in its own picture or against the CG's.
//!
//! Cheap mirror spheres are two pressed half shells. Where they meet runs a seam: a thin line on a great circle of the
//! sphere's surface. No edge of the world lies there, for mirroring doubles angles: a great circle of normals shows a
//! small circle of directions through the point straight behind the sphere. Only planes through the line of sight are
//! both, and those are not judged.
//!
//! A dent turns the surface about it: the reflections there are those of neighbouring places. One picture cannot tell that
//! from another world, so it is looked for against the CG sphere, where that shows the same surroundings.

mod band;
mod cells;
mod circle;
mod dents;
mod grid;
mod profile;
mod ridges;
mod seam;
mod support;
mod width;

use nalgebra::Vector3;

use crate::sphere::MirrorGeometry;

pub use band::Band;
pub use dents::{Dent, Seen, find_dents};
pub use seam::{Seam, find_seam};

/// Everything that was found wrong with one sphere.
#[derive(Debug, Clone, Default)]
pub struct Faults {
    /// The line between its half shells.
    pub seam: Option<Seam>,
    /// Where it is not round.
    pub dents: Vec<Dent>,
}

impl Faults {
    /// Nothing was found.
    pub fn is_empty(&self) -> bool {
        self.seam.is_none() && self.dents.is_empty()
    }

    /// The place where the sphere mirrors `direction` is spoiled.
    pub fn cover(&self, geometry: &MirrorGeometry, direction: &Vector3<f64>) -> bool {
        self.seam.as_ref().is_some_and(|seam| seam.band.covers(geometry, direction))
            || self.dents.iter().any(|dent| dent.covers(geometry, direction))
    }
}
