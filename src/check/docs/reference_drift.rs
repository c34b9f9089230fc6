//! `reference-drift` in words.

use super::CheckDoc;

/// The check of the reference itself.
pub const DOC: CheckDoc = CheckDoc {
    name: "reference-drift",
    title: "was the sphere shot the way the plate was?",
    unit: "stops",
    what: "Compares the plate with the mirror-sphere frame on the background that both show. The value is how much \
           brighter the mirror-sphere frame is, in stops.\n\
           The detail gives the drift in colour, the shift between the two frames in pixels, and the stops that the \
           metadata of the two files would explain.\n\
           It concerns the reference from set and never accuses the CG: a drift widens the uncertainty of what depends \
           on it and is listed on top.",
    why: "The sphere says what the plate's light was only if both were exposed and balanced alike. A cloud, an iris or \
          an automatic white balance between the two takes is enough to spoil every later number.",
    how: "The two frames are registered by the simplest of shift, similarity (shift, roll, zoom) and homography that \
          they support; the sphere, its stand and whatever moved are masked out; a robust fit of one \
          gain per channel is made on the rest.\n\
          Of large OpenEXR files only the part around the spheres is looked at, at least half of the width and a third \
          of the height, and the whole where that leaves doubt.\n\
          A plain background without any detail leaves it unsure: nothing shows that both frames look at it. Camera \
          JPEGs with a tone curve of their own widen the uncertainty by 30 % of the stops. A change of focus is \
          measured and said.\n\
          The mirror side is corrected by the measured drift only where the sheet says \"correct_drift\": true, and the \
          report says so either way.",
    tolerance: "0.1 stops (common practice, no source). In a sheet: \"tolerances\": { \"reference-drift\": { \"stops\": \
                0.1 } }; on the command line: --tolerance reference-drift=0.1.",
    cannot_see: "Light that changed on the sphere and not on the background.\n\
                 Anything where the camera moved between plate and sphere so far that no common background is left: \
                 then the report says that nothing could be compared.",
};
