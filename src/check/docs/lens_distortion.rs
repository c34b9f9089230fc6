//! What `lens-distortion` says about itself.

use super::CheckDoc;
use crate::findings::CheckId;

/// The texts of `explain lens-distortion`.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::LensDistortion,
    title: "does the CG have the lens distortion of the plate?",
    unit: "px",
    what: "Measures the distortion of the lens from a picture of straight things (a grid, a doorway, tiles) and \
           compares it with the distortion stated for the CG.\n\
           The value is what would remain: the largest distance over the frame, in plate pixels, between where the \
           lens puts a point and where the CG puts it. With cg.distortion \"none\" that is the lens's own \
           displacement.\n\
           The detail gives the displacement at the corner of frame in percent of its straight radius and in px \
           (negative = inwards, barrel; positive = outwards, pincushion), the model and its coefficients, the \
           residual in px and the number of edges.\n\
           Where the CG lacks what the lens has, that is a fault of the CG, unless it is put in later: \
           \"distortion\": \"in-comp\" says so, and then the finding tells the values to use and judges nothing.\n\
           cg.distortion is \"none\", \"in-comp\" or an object: { \"model\": \"polynomial\", \"k1\": -0.05, \"k2\": 0.01 } means \
           straight radius = r (1 + k1 r2 + k2 r4), with r2 and r4 the second and fourth power of r; { \"model\": \
           \"division\", \"k1\": -0.05 } means straight radius = r / (1 + k1 r2). Further keys: \"radius\": what r = \
           1 is, half-diagonal (default), half-width, half-height or focal-length; \"centre_px\": [x, y] (default: \
           the middle); \"maps\": \"to-straight\" (default) or \"to-distorted\", in which r is the straight radius \
           instead.",
    why: "A few percent of distortion move things at the edge of frame by tens of pixels: whatever is placed on the \
          plate there slides against it.",
    how: "Long edges are traced to a fraction of a pixel. A pinhole keeps straight lines straight whatever the \
          perspective, so the right parameters are those that make all edges straight. A polynomial with one and with \
          two coefficients and the division model are fitted robustly; the residual decides, and a further \
          coefficient must improve it clearly. The centre of the distortion is fitted too if the edges support it. \
          Edges that stay crooked are left out.\n\
          The uncertainty comes from the scatter between edges and from how far the two models disagree at the \
          corner. On clean edges the residual is 0.02 to 0.1 px; real ones are seldom straighter than 0.1 to 0.3 px.",
    tolerance: "1 px (common practice, no source). In a sheet: \"tolerances\": { \"lens-distortion\": { \"px\": 1 } }; on \
                the command line: --tolerance lens-distortion=1.",
    cannot_see: "Lines through the centre: radial distortion leaves them straight. With fewer than four edges, or \
                 fewer than three away from the centre, there is no result.\n\
                 A card or wall that is itself bent, decentring and squeeze, and how the lens breathes with focus: \
                 shoot the lines at the shot's focus and focal length.",
};
