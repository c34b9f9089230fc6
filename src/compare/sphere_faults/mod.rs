//! Faults of the photographed sphere itself, found in its own picture.
//!
//! Cheap mirror spheres are two pressed half shells. Where they meet runs a seam: a thin line on a great circle of the
//! sphere's surface. No edge of the world lies there, for mirroring doubles angles: a great circle of normals shows a
//! small circle of directions through the point straight behind the sphere. Only planes through the line of sight are
//! both, and those are not judged.

mod band;
mod cells;
mod circle;
mod grid;
mod profile;
mod ridges;
mod seam;
mod support;
mod width;

pub use band::Band;
pub use seam::{Seam, find_seam};
