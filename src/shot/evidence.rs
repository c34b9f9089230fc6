//! What the evidence picture shows, gathered from a measured pair.

use crate::Result;
use crate::image::Frame;
use crate::report::Report;
use crate::side::Side;

use super::pair::Pair;

/// temp
pub(super) fn picture(pair: &Pair, report: &Report) -> Result<Vec<u8>> {
    let _ = (pair, report);
    Ok(Vec::new())
}

/// temp
pub(super) fn sphere_picture(side: &Side, frame: &Frame) -> Result<Vec<u8>> {
    let _ = (side, frame);
    Ok(Vec::new())
}
