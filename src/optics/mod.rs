//! Camera and surfaces: how pixels become directions, and what a sphere reflects.

pub mod camera;
pub mod material;
