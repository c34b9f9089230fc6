//! Made-up shots of known truth: drawn from a seed, rendered in closed form, checked by the library, held against what
//! a perfect measurement would say.
#![allow(dead_code, reason = "each bench uses its own part")]

pub(crate) mod frames;
pub(crate) mod hide;
pub(crate) mod judge;
pub(crate) mod perfect;
#[allow(unreachable_pub, reason = "shared with the tests")]
#[path = "../../tests/pictures/sphere_scene/random.rs"]
pub(crate) mod random;
pub(crate) mod recipe;
pub(crate) mod rig;
pub(crate) mod score;
pub(crate) mod sheet;
