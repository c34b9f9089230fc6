//! `exposure` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of overall brightness.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::Exposure,
    title: "is the CG as bright as the plate?",
    unit: "stops",
    what: "Two figures, both judged; the worse is the value, and the check matches only if both do. Surroundings: the \
           median over directions of log2(CG / mirror), without the lights. Light on a subject: the ratio of the \
           mean illuminance on patches facing within 75 deg of the camera, lights included. +0.5 means that the CG is \
           half a stop too bright.\n\
           If the two differ, the fix says whether the lights or the surroundings are off. The detail gives key and \
           fill as well.",
    why: "With colour, exposure is what viewers forgive least. It is also the cheapest to fix: one gain on the \
          environment or on the render.",
    how: "Both spheres are unwrapped by direction and blurred to the same resolution. Only directions that both \
          spheres show count, outside clipped or noisy areas and outside the lights, each weighted by its solid \
          angle. A rotation between the two is undone first if it is well determined; with fewer than 30 % of all \
          directions the surroundings are not measured. The light on a subject is compared as it is. If the \
          photograph clips more than 10 % of the light on a patch, its figure is a lower bound: a mismatch if even \
          the bound is outside tolerance, otherwise unsure.",
    tolerance: "0.25 stops (common practice, no source). In a sheet: \"tolerances\": { \"exposure\": { \"stops\": \
                0.25 } }; on the command line: --tolerance exposure=0.25.",
    cannot_see: "The sphere's reflectance, if it was not measured. With the CG rendered \"same-as-mirror\" it \
                 cancels; for a perfect CG mirror, a reflectance of 0.7 is assumed for the real one, uncertain by \
                 0.35 stops.\n\
                 How much the lens darkens the plate towards its corners, which a render lacks: by default half a stop \
                 in the corner counts as uncertainty, less towards the middle with the square of the distance. Give \
                 camera.corner_fall_off_stops, or 0 if it was removed or is in the CG.\n\
                 Stops in a picture that went through a view transform or a camera's picture style. The CG must be \
                 scene-linear; a CG picture in a display encoding is not judged.",
};
