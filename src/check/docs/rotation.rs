//! `rotation` in words.

use super::CheckDoc;

/// The check of the whole environment's turn.
pub const DOC: CheckDoc = CheckDoc {
    name: "rotation",
    title: "is the whole environment turned?",
    unit: "deg",
    what: "Finds the one rotation that best maps what the CG sphere shows onto what the photographed sphere shows. The \
           value is its angle.\n\
           The detail gives what undoes it, as turns to dial in: correction_heading_deg about the world's up, then \
           correction_tilt_deg about the level axis to frame right, then correction_roll_deg about the level axis \
           towards the camera, all right-handed (heading + is counter-clockwise seen from above; tilt + brings up what \
           is in front of the camera). It also gives the errors that would remain afterwards.",
    why: "An environment that is turned about the vertical is the most usual fault of all, and one number mends it: the \
          key, the fill, the horizon and the reflections all come home together.",
    how: "Both spheres are blurred to the same 8 deg and taken as logarithms, so that a bright light does not decide \
          alone: a lamp can always be laid upon another lamp, the surroundings cannot. Every rotation is tried in steps \
          of 15 deg, the best are followed uphill and refined on the radiance of all three channels, each channel with an offset of \
          its own so that exposure and colour turn nothing. What differs much from the rest, such as crew or a lamp \
          that is missing, counts little.\n\
          A rotation is called for only where it makes the spheres alike (correlation 0.9 or more, half or more of what \
          was missing gained). Where none does, the report says so, and the other checks tell what is wrong: a single \
          lamp that moved or is missing does not accuse the environment of being turned.\n\
          World up follows the camera's tilt_deg and roll_deg of the sheet; without tilt_deg, the camera's own up is \
          taken.",
    tolerance: "5 deg, as for the key's direction (common practice, no source). In a sheet: \"tolerances\": { \
                \"rotation\": { \"deg\": 5 } }; on the command line: --tolerance rotation=5.",
    cannot_see: "A turn about an axis around which the light is the same all round, as under an even sky without sun: \
                 the uncertainty says so.\n\
                 Which of two turns is right where the surroundings repeat; then it is unsure and names both.",
};
