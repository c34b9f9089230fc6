//! `exposure` in words.

use super::CheckDoc;

/// The check of overall brightness.
pub const DOC: CheckDoc = CheckDoc {
    name: "exposure",
    title: "is the CG as bright as the plate?",
    unit: "stops",
    what: "Compares the brightness of the surroundings as both spheres show them. The value is the median over \
           directions of log2(CG / mirror): +0.5 means that the CG is half a stop too bright.\n\
           The detail gives the difference of the key alone, of the fill alone, and of the total illuminance.",
    why: "Exposure is what viewers forgive least, together with colour. It is also the cheapest to mend: one gain on \
          the environment or on the render.",
    how: "Both spheres are unwrapped by direction and blurred to the same resolution. Directions count that both saw, \
          outside clipped or noisy parts and outside the lights, each by its solid angle. A rotation between the two \
          is undone first where it is well determined. Where fewer than 30 % of all directions are left, the mean \
          illuminance on patches within 75 deg of the camera is compared, with a wider uncertainty.",
    tolerance: "0.25 stops (common practice, no source). In a sheet: \"tolerances\": { \"exposure\": { \"stops\": \
                0.25 } }; on the command line: --tolerance exposure=0.25.",
    cannot_see: "The sphere's reflectance, where it was not measured. With the CG rendered \"same-as-mirror\" it \
                 cancels; with a perfect CG mirror an unknown reflectance of 0.7 is assumed, uncertain by 0.35 stop.\n\
                 Stops in a picture that went through a view transform or a camera's own picture style. The CG must be \
                 scene-linear; a CG picture in a display encoding is not judged.",
};
