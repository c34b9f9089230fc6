//! The sphere frame may not be exposed and balanced as the plate is.

/// Uncertainty that the drift adds to whatever depends on the sphere frame's exposure and white balance.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct DriftUncertainty {
    /// One sd of exposure, stops.
    pub exposure_stops: f64,
    /// One sd of a channel against the others, stops.
    pub colour_stops: f64,
    /// There is a plate, and the drift could not be measured on it.
    pub unmeasured: bool,
    /// The sphere frame was measurably not exposed or balanced like the plate; otherwise that is merely possible.
    pub proven: bool,
    /// Plate and sphere frame were measurably balanced alike, so that what the camera did to the colour cancels.
    pub balanced_alike: bool,
}

impl DriftUncertainty {
    /// Why exposure is in doubt, in words.
    pub(crate) fn exposure_words(&self) -> &'static str {
        if self.unmeasured {
            "it could not be measured whether the sphere frame was exposed like the plate (see reference-drift)"
        } else if !self.proven {
            "it is not certain that the sphere frame was exposed like the plate (see reference-drift)"
        } else {
            "the sphere frame was not exposed like the plate (see reference-drift)"
        }
    }

    /// Why colour is in doubt, in words.
    pub(crate) fn colour_words(&self) -> &'static str {
        if self.unmeasured {
            "it could not be measured whether the sphere frame was balanced like the plate (see reference-drift)"
        } else if !self.proven {
            "it is not certain that the sphere frame was balanced like the plate (see reference-drift)"
        } else {
            "the sphere frame was not balanced like the plate (see reference-drift)"
        }
    }
}
