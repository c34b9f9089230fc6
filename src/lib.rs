//! plateproof measures whether a CG render is lit, exposed, coloured and placed like the live-action plate, from the
//! mirror sphere photographed on set and a matching CG sphere.
//!
//! Data flows one way, and each module imports only from those before it in this order: [`base`], [`colour`], [`image`],
//! [`optics`], [`sphere`], [`sheet`], [`light`], [`register`], [`compare`], [`findings`], [`check`], [`report`], [`shot`],
//! [`set_light`], [`new_shot`], [`show`], [`summary`], [`demo`], [`cli`].
//!
//! ```text
//! files → scene-linear frame → sphere → radiance by direction → lights → findings → report
//! image     image, colour      sphere         light              light   check      report
//! ```
//!
//! # Axes and pixels
//!
//! Camera axes, right-handed: x to frame right, y up the frame, z from the scene **towards** the camera. A direction
//! points from the sphere to where light comes from: azimuth 0 from the camera side, +90° frame right, 180° from behind;
//! elevation + above. Pixels are counted from the outer corner of the display window's top-left pixel, x right, y down;
//! a pixel's centre is at +0.5. Errors are CG minus photographed.
//!
//! # Light
//!
//! One working space throughout: linear light, ITU-R BT.709 primaries, D65 white ([`colour`]). Illuminance is luminance
//! × steradian on a plane facing the light.

pub mod base;
pub mod check;
pub mod cli;
pub mod colour;
pub mod compare;
pub mod demo;
pub mod findings;
pub mod image;
pub mod light;
pub mod new_shot;
pub mod optics;
pub mod register;
pub mod report;
pub mod set_light;
pub mod sheet;
pub mod shot;
pub mod show;
pub mod sphere;
pub mod summary;

pub use crate::base::capture_time::CaptureTime;
pub use crate::base::error::{Error, ErrorKind, Result, printable, printable_text};
pub use crate::base::units::{Estimate, Kelvin, Mired, Stops, wrap_deg};
