//! `highlight-direction` in words.

use super::CheckDoc;

/// The check of where light comes from.
pub const DOC: CheckDoc = CheckDoc {
    name: "highlight-direction",
    title: "does the light come from the same directions?",
    unit: "deg",
    what: "Compares the direction of the key light in the CG sphere with that in the mirror sphere from set, and \
           pairs all other lights one to one.\n\
           The value is the angle between the two keys, measured along a great circle. Where no single key stands out \
           by 1/3 stop it is the largest angle among the lights that share that rank.\n\
           The detail lists every pair with its error, the lights missing in the CG and those that it has too many. \
           An unpaired light that gives 10 % or more of the light counts as a mismatch by itself.",
    why: "The direction of the key decides where shadows fall and which side of a face is lit. A wrong heading of the \
          environment picture shifts every light by the same angle, which is why the remedy is given as a turn seen \
          from above.",
    how: "Every pixel of the sphere is traced back to the direction that it mirrors, with the exact perspective \
          geometry where the field of view is known. A light is a region brighter than its surroundings; its direction \
          is the centre of the light that it sends, with streaks and flare held off. Lights are paired by the \
          assignment with the smallest total angle; pairs more than 30 deg apart are taken as one missing and one \
          extra.\n\
          Azimuth: 0 = from the camera side, +90 = frame right. A turn counter-clockwise seen from above is positive.",
    tolerance: "5 deg (common practice, no source). In a sheet: \"tolerances\": { \"direction\": { \"deg\": 5 } }; on \
                the command line: --tolerance direction=5.",
    cannot_see: "The cone straight behind the sphere, as wide as the sphere looks from the camera.\n\
                 Finer than the sphere allows: with r px of radius, one pixel is 115/r deg at its centre and twice \
                 that near the rim.\n\
                 What stands before the photographed sphere: where it may hide the CG's key, the verdict is unsure.\n\
                 A lamp before something bright, both cut off in the photograph: where the CG shows clearly less than \
                 that ceiling there, the verdict is unsure; where it reaches it, nothing tells.\n\
                 How far away a light is: near lamps seem to come from slightly different places on another object.",
};
