//! What a run was asked for.

/// What decides about a report besides sheet and files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct Options {
    /// With the evidence picture.
    pub picture: bool,
    /// With its panels by direction as a lat-long map seen from inside.
    pub from_inside: bool,
    /// With the spheres that the environment predicts.
    pub predict: bool,
    /// With the fixes as files.
    pub fixes: bool,
    /// Frames from one sample of a moving shot to the next.
    pub every: Option<u32>,
}
