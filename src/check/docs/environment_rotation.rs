//! `environment-rotation` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the whole environment's turn.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::EnvironmentRotation,
    title: "is the whole environment turned?",
    unit: "deg",
    what: "Finds the one rotation that best brings what the CG sphere shows onto what the photographed sphere shows. \
           The value is its angle.\n\
           The detail gives the turns that undo it: correction_heading_deg about the world's up, then \
           correction_tilt_deg about the level axis to frame right, then correction_roll_deg about the level axis \
           towards the camera, all right-handed (heading + is counter-clockwise seen from above; tilt + raises what \
           is in front of the camera). It also gives the errors that would remain afterwards.",
    why: "An environment turned about the vertical is the most common fault of all, and one number fixes it: key, \
          fill, horizon and reflections all fall into place together.",
    how: "Both spheres are blurred to the same 8 deg and compared as logarithms, so that one bright light does not \
          decide alone: one lamp can always be laid over another, the surroundings cannot. Rotations are tried in \
          steps of 15 deg, and the best are refined on the radiance of all three channels, each with its own offset, \
          so that exposure and colour do not affect the turn. Areas that differ much from the rest, such as crew or a \
          missing lamp, count little.\n\
          A rotation is reported only if it makes the spheres alike (correlation 0.9 or more, gaining at least half \
          of what was missing). If none does, the report says so, and the other checks tell what is wrong: a single \
          lamp that moved or is missing does not count as a turned environment.\n\
          World up follows the camera's tilt_deg and roll_deg in the sheet; without tilt_deg, the camera's own up is \
          used.",
    tolerance: "5 deg, as for the key's direction (common practice, no source). In a sheet: \"tolerances\": { \
                \"environment-rotation\": { \"deg\": 5 } }; on the command line: --tolerance environment-rotation=5.",
    cannot_see: "A turn about an axis around which the light is the same on all sides, as under an even sky without \
                 sun: the uncertainty shows it.\n\
                 Which of two turns is right if the surroundings repeat; it is then unsure and names both.",
};
