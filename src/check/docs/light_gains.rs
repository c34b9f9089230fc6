//! `light-gains` in words.

use super::CheckDoc;

/// The advice on the CG's lights.
pub const DOC: CheckDoc = CheckDoc {
    name: "light-gains",
    title: "which CG light needs what gain?",
    unit: "stops",
    what: "Where the CG sphere comes with one layer per light (light_layers in cg.spheres[]), solves for the gain of \
           each, never negative, that best maps the CG sphere on the photographed one, and says what would remain: \
           \"rim x 1.40, key x 0.90 and 8 mired warmer: leaves exposure +0.02, key/fill -0.05 stop\".\n\
           The value is the largest error of any light that gives 10 % or more of what patches receive: +0.5 means that the \
           CG's light is half a stop too strong.",
    why: "The other checks say what is off. This one says which slider to move, with one render and no guessing.",
    how: "Both spheres and every layer are gathered in broad lobes (cosine to the 12th power, half their weight within \
          20 deg), so that a light a few degrees from its place still counts as the same light. The gains follow by \
          non-negative least squares, relative to the photographed light; what differs much from the rest counts little. \
          An environment that is turned as a whole is turned back first. Lobes with clipped or filled-in light are left \
          out. Light of the beauty that is in no layer stays as it is, and its part is told.\n\
          Its verdict is reached like that of every other check, and counts.",
    tolerance: "0.33 stops, as for key-fill-ratio (common practice, no source). In a sheet: \"tolerances\": { \
                \"light-gains\": { \"stops\": 0.33 } }; on the command line: --tolerance light-gains=0.33.",
    cannot_see: "Lights within about 10 deg of each other, or so broad that their lobes are alike: they get one gain \
                 together, and the report says so. A layer that the others make up together, that gives next to nothing, \
                 or of which the photograph shows only clipped light gets no gain.\n\
                 A light that stands in the wrong place: its gain makes the best of it. Mend highlight-direction first.",
};
