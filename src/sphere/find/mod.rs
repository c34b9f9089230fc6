//! Finding the sphere in a frame.
pub mod debug;
mod consensus;
mod edgels;
mod fitted;
mod flat;
mod interior;
mod plane;
mod rays;
mod refine;
mod rim_model;
mod ring;
mod search;
mod votes;
