//! Ray-traced frames of a mirror sphere with known outline, for testing the finder.
#![allow(dead_code, reason = "each test binary uses its own part")]

pub(crate) mod environment;
pub(crate) mod load;
pub(crate) mod random;
pub(crate) mod scene;
