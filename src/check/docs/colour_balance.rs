//! `colour-balance` in words.

use super::CheckDoc;
use crate::findings::CheckId;

/// The check of colour.
pub const DOC: CheckDoc = CheckDoc {
    check: CheckId::ColourBalance,
    title: "is the light the same colour?",
    unit: "stops",
    what: "Compares the colour of the light, leaving brightness aside. The value is the larger of the differences of \
           red and blue against green, in stops.\n\
           The detail gives it for all the light, for the key alone and for the fill alone: red and blue against \
           green, the gain that would correct it (green = 1), the difference in mired (+ = CG warmer), the difference \
           in Duv (+ = CG greener), and the CIEDE2000 difference of a grey patch for information.",
    why: "A correct key with a fill that is too warm looks like another time of day. Separate figures for key and \
          fill tell you which light to correct.",
    how: "Each side is divided by its own luminance. Colour temperature and Duv follow Ohno 2013 on the CIE 1960 \
          diagram; far from the Planckian locus they are left out. Equal steps in mired look about equally large \
          (Priest 1932).",
    tolerance: "0.1 stops and 20 mired, whichever is worse; 20 mired is about an eighth correction gel (common practice, \
                no source). In a sheet: \"tolerances\": { \"colour\": { \"stops\": 0.1, \"mired\": 20 } }; on the \
                command line: --tolerance colour=0.1 and --tolerance colour-mired=20.",
    cannot_see: "The light's true colour temperature: the figures hold for the white balance of the file.\n\
                 A tint of the sphere that was not given as its reflectance and that the CG sphere does not have.\n\
                 A difference between two lights that have different spectra but the same red, green and blue.",
};
