//! `key-fill-ratio` in words.

use super::CheckDoc;

/// The check of contrast.
pub const DOC: CheckDoc = CheckDoc {
    name: "key-fill-ratio",
    title: "is the contrast between lit and shadow side the same?",
    unit: "stops",
    what: "Compares how much brighter the lit side of a matte object would be than its shadow side.\n\
           On each side a ratio is formed: the largest over the smallest illuminance that a small matte patch at the \
           sphere's place receives, over all patches that face within 75 deg of the camera. The value is \
           log2(CG ratio / mirror ratio): +1 means that the CG has twice the contrast.\n\
           The detail also gives the ratio of both sides at the two patches that are brightest and darkest in the \
           mirror. Where only the first value is outside tolerance, the contrast error follows from a wrong direction, \
           and the remedy says so.",
    why: "A CG object with too little fill looks pasted in even where key direction and exposure are right.",
    how: "The light seen in the sphere is summed over the half-space before each patch, weighted by the cosine of the \
          angle to it (Lambert's law). What hides behind the sphere is counted as unknown and widens the uncertainty.",
    tolerance: "0.33 stops, about a third of a stop (common practice, no source). In a sheet: \"tolerances\": { \
                \"key-fill\": { \"stops\": 0.33 } }; on the command line: --tolerance key-fill=0.33.",
    cannot_see: "The key-to-fill ratio of the lamps on set, as a gaffer measures it with one lamp off: that ratio comes \
                 in two conventions, key : fill and (key + fill) : fill, which differ by a third of a stop at 4:1. This \
                 check is about the light that arrives, all lamps and bounces together.\n\
                 The true ratio where the key is clipped in the frame from set, or flattened by a camera's tone curve: then \
                 it is a lower bound, and a CG can be told to be too flat, not to be too contrasty.",
};
