//! `sphere-place` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of places and near lights.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::SpherePlace,
    title: "does the CG sphere stand where the mirror sphere stood?",
    unit: "deg",
    what: "A nearby lamp is seen in a different direction from a different place. From the mirror's diameter, both \
           outlines and both lenses, this check works out where the photographed and the CG sphere stand, and by how \
           many degrees a light would appear off for that reason alone. The value is the largest such angle over the \
           lights whose distance is known, else that of a light 2 m away in the key's direction.\n\
           With two mirrors in one shot it also says how far away each light is that both show: a distance with its \
           uncertainty, or \"further away than\" if the two directions cannot be told apart.\n\
           position_mm is measured towards frame right, up the frame, and along the lens; whether the last counts towards the \
           camera or away from it is determined from the pictures.",
    why: "A CG sphere rendered half a metre from the real one sees a lamp 2 m away up to 14 deg off although every \
          light is right. And a lamp copied from one place needs its distance before it lights another place well.",
    how: "A sphere of radius R seen under the half-angle a stands R / sin(a) away. Sight lines start where the light \
          is reflected: at the centre plus R along the normal that halves the angle between light and camera. Two \
          lines and the line between their starting points make a triangle, whose distance follows from the law of \
          sines; the reciprocal of the distance is carried, which is nearly linear in the angles (Powell, Sarkar, \
          Goldgof 2001, IEEE TPAMI 23(9), triangulate lights from several spheres in this way; cited from memory).\n\
          Two lights are taken as the same if their lines meet within four standard deviations and no other pair \
          comes nearly as close. Noted positions are taken as good to 20 mm each way (common practice, no source).",
    tolerance: "That of highlight-direction, 5 deg: \"tolerances\": { \"direction\": { \"deg\": 5 } }.",
    cannot_see: "Whether the CG sphere is smaller or further away: it is taken to be as large as the mirror.\n\
                 The middle of a wide nearby light: each mirror sees it from its own side.\n\
                 Without two mirrors, how far away a light is; the verdict is then unsure if it would matter.",
};
