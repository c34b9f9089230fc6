//! `reference-drift` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the reference itself.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::ReferenceDrift,
    title: "was the sphere shot the way the plate was?",
    unit: "stops",
    what: "Compares the plate with the mirror-sphere frame on the background that both show. The value is how much \
           brighter the mirror-sphere frame is, in stops.\n\
           The detail gives the change in colour, the shift between the two frames in pixels, and the stops that the \
           metadata of the two files would explain.\n\
           It concerns the reference from set and never accuses the CG: drift widens the uncertainty of what depends \
           on it and is listed at the top.",
    why: "The sphere shows the plate's light only if both were exposed and balanced alike. A cloud, a change of iris \
          or an automatic white balance between the two takes is enough to spoil every later figure.",
    how: "The two frames are registered by the simplest of shift, similarity (shift, roll, zoom) and homography that \
          fits; the sphere, its stand and anything that moved are masked out; one gain per channel is fitted robustly \
          to the rest.\n\
          In large OpenEXR files only the area around the spheres is read, at least half of the width and a third of \
          the height, or the whole frame if that is not conclusive.\n\
          A plain background without any detail leaves it unsure: nothing shows that both frames look at the same \
          thing. Camera JPEGs with their own tone curve widen the uncertainty by 30 % of the stops. A change of focus \
          is measured and reported.\n\
          The mirror side is corrected by the measured drift only if the sheet says \"correct_drift\": true, and the \
          report says so either way.",
    tolerance: "0.1 stops (common practice, no source). In a sheet: \"tolerances\": { \"reference-drift\": { \"stops\": \
                0.1 } }; on the command line: --tolerance reference-drift=0.1.",
    cannot_see: "Light that changed on the sphere and not on the background.\n\
                 Anything, if the camera moved so far between plate and sphere that no common background is left: the \
                 report then says that nothing could be compared.",
};
