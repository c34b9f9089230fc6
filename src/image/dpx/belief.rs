//! What the codes of a DPX header say about curve and primaries (SMPTE ST 268-1:2014, tables 5A and 5B).

use std::path::Path;

use super::super::encoding::Encoding;
use super::super::request::Belief;
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

/// Chromaticities of red, green and blue of 625-line and of 525-line video with their white D65 (ITU-R BT.601-7, from memory).
const BT601_625: [[f64; 2]; 4] = [[0.64, 0.33], [0.29, 0.60], [0.15, 0.06], [0.3127, 0.3290]];
const BT601_525: [[f64; 2]; 4] = [[0.630, 0.340], [0.310, 0.595], [0.155, 0.070], [0.3127, 0.3290]];

/// The name of a transfer or colorimetric code.
pub(super) fn name(code: u8) -> &'static str {
    match code {
        0 => "user-defined",
        1 => "printing density",
        2 => "linear",
        3 => "logarithmic",
        4 => "unspecified video",
        5 => "SMPTE 274M",
        6 => "ITU-R BT.709",
        7 => "ITU-R BT.601, 625 lines",
        8 => "ITU-R BT.601, 525 lines",
        9 => "composite video, NTSC",
        10 => "composite video, PAL",
        11 => "linear depth",
        12 => "homogeneous depth",
        13 => "ACES density",
        255 => "undefined",
        _ => "reserved",
    }
}

/// The curve that a transfer code names.
///
/// # Errors
/// `Parameter` where it names none.
pub(super) fn encoding(path: &Path, code: u8) -> Result<Belief<Encoding>> {
    let value = match code {
        1 => Encoding::Cineon,
        2 => Encoding::SceneLinear,
        5..=8 => Encoding::Bt709, // BT.601 has the same curve
        _ => {
            let cause = format!("its transfer code {code} ({}) names no curve", name(code));
            let remedy = "give `encoding`, most likely cineon, logc3, logc4, s-log3, log3g10, acescct, bt709 or scene-linear \
                          (`plateproof explain encodings` lists all)";
            return Err(Error::new(ErrorKind::Parameter, path, cause, remedy));
        }
    };
    Ok(Belief { value, from: "file" })
}

/// The primaries that a colorimetric code names.
pub(super) fn space(code: u8) -> Option<Belief<ColourSpace>> {
    let of = |[red, green, blue, white]: [[f64; 2]; 4]| ColourSpace::from_chromaticities(red, green, blue, white);
    let value = match code {
        5 | 6 => ColourSpace::rec709(),
        7 => of(BT601_625)?,
        8 => of(BT601_525)?,
        _ => return None,
    };
    Some(Belief { value, from: "file" })
}
