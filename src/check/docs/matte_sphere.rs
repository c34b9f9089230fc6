//! `matte-sphere` in words.

use super::CheckDoc;

/// The check of the mirror sphere by a matte one.
pub const DOC: CheckDoc = CheckDoc {
    name: "matte-sphere",
    title: "does the grey matte sphere agree with the mirror sphere?",
    unit: "stops",
    what: "Predicts the matte sphere from the light that the mirror sphere shows, and compares it with the matte sphere \
           photographed. The value is the photographed matte sphere's contrast minus the predicted one: its light at \
           the two places where the mirror says that it is brightest and darkest.\n\
           The detail gives colour and level of one against the other. Where lights of the mirror are clipped, their \
           true strength is recovered from what they add to the matte sphere, and given in the detail as \
           recovered_lights; the value is what is left after that.\n\
           It concerns the reference from set and never accuses the CG.",
    why: "A mirror sphere shows where light comes from, but clips on lamps and sun; a matte sphere never clips and adds \
          everything up. Where the two disagree, one of them was exposed, balanced or lit otherwise, and the numbers \
          from the mirror cannot be trusted.",
    how: "For some thousand points of the matte sphere within 0.92 of its radius (a tenth of them stands for the \
          brightest and the darkest place, the nearest ones where that lies beyond): illuminance of a patch with that \
          normal, summed over all directions of the mirror's light, times the reflectance over pi, held against the \
          pixel. Shares of clipped lights are found by non-negative least squares, one unknown a light, in each \
          channel.",
    tolerance: "0.33 stops, that of key-fill-ratio (common practice, no source). In a sheet: \"tolerances\": { \
                \"key-fill\": { \"stops\": 0.33 } }.",
    cannot_see: "Light from behind, which neither sphere shows well.\n\
                 A matte sphere with gloss, or one that stood in another light than the mirror.\n\
                 Without a reflectance in the sheet: the level, and so the absolute strength of recovered lights.",
};
