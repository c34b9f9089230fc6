//! `scale` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of distances and sizes.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::Scale,
    title: "do the noted sizes and distances fit the pictures?",
    unit: "%",
    what: "Works out how far away the sphere was, from its diameter, its outline and the field of view, and compares \
           that with the noted distance; the same for every measured object that has a distance, or stands on the ground \
           (stands_on_ground) below a camera whose height_mm and tilt_deg are noted. The value is the largest deviation, in percent: + = the picture puts it further away than the note.\n\
           If several are given, it says which note is the odd one out: all off alike points to the field of view; \
           one off points to that sphere's or object's own size or distance. Common slips (radius for diameter, feet \
           for metres, inches for centimetres) are named.\n\
           Lengths may be noted in mm, cm, m, in or ft; answers are metric. It concerns the reference and never \
           accuses the CG.",
    why: "A wrong diameter or focal length puts the CG at the wrong distance: contact shadows, parallax and nearby \
          lights are then off in a way that no still frame shows.",
    how: "The sphere's distance is R / sin(a), with a the half-angle of the cone that its fitted outline subtends: \
          exact, not the small-angle rule. An object's ends, at equal distance D, are 2 D sin(b/2) apart when seen \
          under the angle b.\n\
          The standard deviation combines the fit of the outline (objects: 1 px at each end), 1 % of the focal length \
          as engraved, 0.5 % of the diameter (objects: 2 % of the length, because they may stand at an angle), and \
          0.5 % and 30 mm of the tape, which starts at the lens or the sensor and not where the rays cross. A \
          distance by the camera's height h is h / sin(d) to a foot seen d below the horizon, sure to 20 mm of h and \
          half a degree of the tilt.",
    tolerance: "5 % (common practice, no source; so are the uncertainties above). In a sheet: \"tolerances\": { \
                \"scale\": { \"percent\": 5 } }; on the command line: --tolerance scale=5.",
    cannot_see: "From one sphere alone, whether diameter, distance or focal length is wrong: measure an object too.\n\
                 An object that stands at an angle looks shorter, and so further away.\n\
                 With several mirrors, camera.distance_mm is taken as that of the first.",
};
