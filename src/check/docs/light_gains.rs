//! `light-gains` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The advice on the CG's lights.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::LightGains,
    title: "what gain does each CG light need?",
    unit: "stops",
    what: "If the CG sphere comes with one layer per light (light_layers in cg.spheres[]), finds the gain of each \
           layer, never negative, that brings the CG sphere closest to the photographed one, and says what would \
           be left: \"multiply layer rim by 1.40, multiply layer key by 0.90 and make it 8 mired warmer; what would \
           be left: exposure +0.02, key/fill -0.05 stops\".\n\
           The value is the largest error of any light that contributes 10 % or more: +0.5 means that the CG's light \
           is half a stop too strong.",
    why: "The other checks say what is off. This one says which slider to move, from one render and without guessing.",
    how: "Both spheres and every layer are averaged over broad lobes (cosine to the 12th power, half their weight \
          within 20 deg), so that a light a few degrees out of place still counts as the same light. The gains follow \
          by non-negative least squares, relative to the photographed light; areas that differ much from the rest \
          count little. If the whole environment is turned, it is turned back first. Lobes with clipped or filled-in \
          light are left out. Light in the beauty render that is in no layer stays as it is, and its share is \
          reported.\n\
          A layer that the file does not have is named in the report, with the layers that it has; the other layers \
          are then not solved for.\n\
          Its verdict is reached like that of every other check, and counts.",
    tolerance: "0.33 stops, as for key-fill-ratio (common practice, no source). In a sheet: \"tolerances\": { \
                \"light-gains\": { \"stops\": 0.33 } }; on the command line: --tolerance light-gains=0.33.",
    cannot_see: "Lights within about 10 deg of each other, or so broad that their lobes look alike: they get one gain \
                 together, and the report says so. A layer that the others add up to, that contributes next to \
                 nothing, or of which the photograph shows only clipped light, gets no gain.\n\
                 A light in the wrong place: its gain makes the best of it. Fix highlight-direction first.",
};
