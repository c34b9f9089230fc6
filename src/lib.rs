//! plateproof proves that a CG render sits in a live-action plate.
//!
//! Data flows one way: files → scene-linear frame → sphere → radiance by direction → lights → findings → report.

pub mod camera;
pub mod check;
pub mod cli;
pub mod colour;
pub mod demo;
mod error;
pub mod image;
pub mod lights;
pub mod pairing;
pub mod radiance;
pub mod register;
pub mod report;
pub mod rotation;
pub mod sheet;
pub mod shot;
pub mod side;
pub mod sphere;
mod units;

pub use crate::error::{Error, ErrorKind, Result, printable, printable_text};
pub use crate::units::{Estimate, Kelvin, Mired, Stops, wrap_deg};
