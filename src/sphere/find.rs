//! Finding the sphere in a frame.

use nalgebra::{Matrix3, Matrix5};

use super::{FoundBy, Outline, SphereFit, SphereSearch, cone_of_outline};
use crate::camera::View;
use crate::image::Frame;
use crate::{Error, ErrorKind, Result};

/// temp
pub fn find_sphere(frame: &Frame, view: &View) -> Result<SphereSearch> {
    let _ = view;
    Err(Error::new(ErrorKind::NoSphere, &frame.path, "none", "none"))
}

/// temp
pub fn given_sphere(frame: &Frame, view: &View, outline: &Outline, sd_px: f64) -> Result<SphereFit> {
    let cone = cone_of_outline(view, outline).ok_or_else(|| Error::new(ErrorKind::Parameter, &frame.path, "x", "y"))?;
    let sd = sd_px / view.focal_px;
    Ok(SphereFit {
        cone,
        cone_cov: Matrix3::identity() * (sd * sd),
        outline: *outline,
        outline_cov: Matrix5::identity() * (sd_px * sd_px),
        found_by: FoundBy::Given,
        unseen_fraction: 0.0,
        edge_sd_px: sd_px,
        score: 1.0,
    })
}
