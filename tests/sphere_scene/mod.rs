//! Ray-traced frames of a mirror sphere with known outline, for testing the finder.
#![allow(dead_code, reason = "each test binary uses its own part")]

pub mod environment;
pub mod load;
pub mod random;
pub mod scene;
