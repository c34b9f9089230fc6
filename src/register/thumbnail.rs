//! A frame reduced to what tells where its camera looked: cheap to keep for every frame of a take.

use super::backdrop::{Backdrop, Side};
use super::field::Field;
use super::plane::Plane;
use super::warp_start::{register_warp, size_of};
use super::{COARSE_SIDE, NotRegistered};
use crate::Estimate;
use crate::image::Frame;

/// Standard deviation of a displacement known from a thumbnail alone, in its pixels: averaging hides where detail lies.
const METHOD_SD: f64 = 0.03;

/// A frame's log luminance, at most [`COARSE_SIDE`] pixels along its longer side.
#[derive(Debug, Clone)]
pub(crate) struct Thumbnail {
    plane: Plane,
    /// Pixels of the frame per pixel of the thumbnail.
    scale: f64,
}

impl Thumbnail {
    /// Reduces a frame; `None` where it is too small.
    pub(crate) fn of(frame: &Frame) -> Option<Self> {
        let field = Field::shared(frame, frame).ok()?;
        let mut plane = Backdrop::of(frame, &field, Side::Plate, None).log_plane()?;
        let mut scale = field.cell_px[0];
        while plane.width().max(plane.height()) > COARSE_SIDE {
            plane = plane.halved();
            scale *= 2.0;
        }
        Some(Self { plane, scale })
    }

    /// How far another frame's picture lies from this one's, root mean square over the frame, in pixels of this frame.
    ///
    /// # Errors
    /// Why that cannot be told.
    pub(crate) fn misregistration_px(&self, other: &Self) -> Result<Estimate, NotRegistered> {
        let found = register_warp(&self.plane, &other.plane)?;
        let apart = found.misregistration_px(size_of(&self.plane)).widened(METHOD_SD);
        Ok(Estimate::new(apart.value * self.scale, apart.sd * self.scale))
    }
}
