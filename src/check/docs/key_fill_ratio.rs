//! `key-fill-ratio` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of contrast.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::KeyFillRatio,
    title: "is the contrast between lit and shadow side the same?",
    unit: "stops",
    what: "Compares how much brighter the lit side of a matt grey object would be than its shadow side.\n\
           Each side gets a ratio: the largest illuminance that a small matt patch at the sphere's place receives, \
           divided by the smallest, over all patches that face within 75 deg of the camera. The value is log2(CG \
           ratio / mirror ratio): +1 means that the CG has twice the contrast.\n\
           The detail also gives both ratios at the two patches that are brightest and darkest on the photographed \
           side. If only the first value is outside tolerance, the contrast error follows from a wrong direction, and \
           the fix says so.",
    why: "A CG object with too little fill looks pasted in, even if key direction and exposure are right.",
    how: "The light seen in the sphere is summed over the half-space in front of each patch, weighted by the cosine \
          of its angle (Lambert's law). What the sphere hides behind itself counts as unknown and widens the \
          uncertainty.",
    tolerance: "0.33 stops, about a third of a stop (common practice, no source). In a sheet: \"tolerances\": { \
                \"key-fill\": { \"stops\": 0.33 } }; on the command line: --tolerance key-fill=0.33.",
    cannot_see: "The key-to-fill ratio of the lamps as a gaffer measures it, with one lamp off: that ratio has two \
                 conventions, key : fill and (key + fill) : fill, which differ by a third of a stop at 4:1. This \
                 check measures the light that arrives, from all lamps and bounces together.\n\
                 The true ratio if the key is clipped in the photograph, or flattened by a camera's tone curve: it is \
                 then a lower bound, which can show that the CG is too flat but not that it has too much contrast.",
};
