//! `highlight-direction` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of where light comes from.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::HighlightDirection,
    title: "does the light come from the same directions?",
    unit: "deg",
    what: "Compares the direction of the key light in the CG sphere with that in the photographed one, and pairs all \
           other lights one to one.\n\
           The value is the angle between the two keys, along a great circle. If no single light stands out by 1/3 \
           stop, it is the largest angle among the lights that share the lead.\n\
           The detail lists every pair with its error, the lights missing in the CG and any extra lights. An unpaired \
           light that contributes 10 % or more of the light is a mismatch by itself.",
    why: "The direction of the key decides where shadows fall and which side of a face is lit. A wrong heading of the \
          environment shifts every light by the same angle, which is why the fix is given as a turn seen from above.",
    how: "Every pixel of the sphere is traced to the direction it reflects, with exact perspective geometry if the \
          field of view is known. A light is a region brighter than its surroundings; its direction is the centre of \
          the light it sends, without streaks and flare. Lights are paired so that the sum of the angles is smallest; \
          a pair more than 30 deg apart counts as one missing and one extra light.\n\
          Azimuth: 0 = from the camera side, +90 = frame right. A turn counter-clockwise seen from above is positive.",
    tolerance: "5 deg (common practice, no source). In a sheet: \"tolerances\": { \"direction\": { \"deg\": 5 } }; on \
                the command line: --tolerance direction=5.",
    cannot_see: "The cone straight behind the sphere, as wide as the sphere appears from the camera.\n\
                 Anything finer than the sphere's size allows: with a radius of r px, one pixel is 115/r deg at its \
                 centre and twice that near the rim.\n\
                 Lights behind anything in front of the photographed sphere: if it may hide the CG's key, the verdict \
                 is unsure.\n\
                 A light in front of something bright, both clipped in the photograph: if the CG is clearly darker \
                 there than the clip level, the verdict is unsure; if it reaches it, nothing shows the difference.\n\
                 How far away a light is: nearby lights come from slightly different directions at another place.",
};
