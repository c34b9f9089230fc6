//! `grey-sphere` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of the mirror sphere by a matte one.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::GreySphere,
    title: "does the grey sphere agree with the mirror sphere?",
    unit: "stops",
    what: "Predicts the grey sphere from the light that the mirror sphere shows, and compares it with the \
           photographed grey sphere. The value is the contrast of the photographed grey sphere minus the predicted \
           contrast, each between the two places that should be brightest and darkest according to the mirror.\n\
           The detail compares colour and level. If lights are clipped in the mirror, their true strength is \
           recovered from what they add to the grey sphere and given in the detail as recovered_lights; the value is \
           what is left after that.\n\
           It concerns the reference from set and never accuses the CG.",
    why: "A mirror sphere shows where light comes from, but clips on lamps and on the sun; a matt grey sphere does \
          not clip, and adds everything up. If the two disagree, one of them was exposed, balanced or lit \
          differently, and the figures from the mirror cannot be trusted.",
    how: "Some thousand points of the grey sphere are compared, within 0.92 of its radius (a tenth of them stand for \
          the brightest and darkest place, or the nearest ones if those lie further out). For each, the illuminance \
          of a patch with that normal, summed over all directions of the mirror's light, times the reflectance over \
          pi, is compared with the pixel. The strength of clipped lights is found by non-negative least squares, one \
          unknown per light, in each channel.",
    tolerance: "0.33 stops, that of key-fill-ratio (common practice, no source). In a sheet: \"tolerances\": { \
                \"key-fill\": { \"stops\": 0.33 } }.",
    cannot_see: "Light from behind, which neither sphere shows well.\n\
                 A grey sphere with a sheen, or one that stood in different light from the mirror.\n\
                 Without a reflectance in the sheet: the level, and so the absolute strength of recovered lights.",
};
