//! `exposure` in words.

use super::CheckDoc;

/// The check of overall brightness.
pub const DOC: CheckDoc = CheckDoc {
    name: "exposure",
    title: "is the CG as bright as the plate?",
    unit: "stops",
    what: "Two numbers, both judged; the worse is the value, and it matches only where both do. Surroundings: the median over \
           directions of log2(CG / mirror), lights left out. What a subject receives: the ratio of the mean illuminance \
           on patches within 75 deg of the camera, lamps included. +0.5 means that the CG is half a stop too bright.\n\
           Where the two differ the fix says whether lamps or surroundings are off. The detail gives key and fill as well.",
    why: "Exposure is what viewers forgive least, together with colour. It is also the cheapest to mend: one gain on \
          the environment or on the render.",
    how: "Both spheres are unwrapped by direction and blurred to the same resolution. Directions count that both saw, \
          outside clipped or noisy parts and outside the lights, each by its solid angle. A rotation between the two \
          is undone first where it is well determined; with fewer than 30 % of all directions the surroundings are not \
          measured. What a subject receives is taken as it is. Where the photograph clips more than 10 % of the light on a \
          patch, that is a lower bound: mismatch where the bound is outside already, else unsure.",
    tolerance: "0.25 stops (common practice, no source). In a sheet: \"tolerances\": { \"exposure\": { \"stops\": \
                0.25 } }; on the command line: --tolerance exposure=0.25.",
    cannot_see: "The sphere's reflectance, where it was not measured. With the CG rendered \"same-as-mirror\" it \
                 cancels; with a perfect CG mirror an unknown reflectance of 0.7 is assumed, uncertain by 0.35 stop.\n\
                 Stops in a picture that went through a view transform or a camera's own picture style. The CG must be \
                 scene-linear; a CG picture in a display encoding is not judged.",
};
