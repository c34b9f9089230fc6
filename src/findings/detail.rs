//! Keys of a finding's detail by which reports decide what to say where.

/// Lights are to be added, removed, or made stronger or weaker, so that contrast and colour of all light follow.
pub(crate) const LIGHTS_AMISS: &str = "lights_amiss";

/// The check that has to be mended before this one.
pub(crate) const AFTER: &str = "after";

/// The other checks of the sphere ask for the same: nobody should do it twice.
pub(crate) const SAID_BY_OTHERS: &str = "said_by_others";

/// The frame of a moving shot that a finding is of.
pub(crate) const FRAME: &str = "frame";

/// The colour's gain of each channel with the exposure's in it.
pub(crate) const GAIN_WITH_EXPOSURE: &str = "gain_rgb_with_exposure";

/// A sentence printed beside the number whatever the verdict.
pub(crate) const TOLD: &str = "told";

/// Which of its numbers decided a finding, in words.
pub(crate) const DECIDED_BY: &str = "decided_by";

/// What is to be mended in place of the CG itself, since the CG only follows it.
pub(crate) const MEND_IN: &str = "mend_in";
