//! Raw stills of cameras in. Reading them is optional (`--features raw`), because its reader is under the LGPL; recognising them is not.

#[cfg(feature = "raw")]
mod calibration;
#[cfg(feature = "raw")]
mod develop;
#[cfg(feature = "raw")]
mod mosaic;
mod recognise;
mod record;
#[cfg(feature = "raw")]
mod still;
#[cfg(feature = "raw")]
mod structure;
#[cfg(not(feature = "raw"))]
mod without_reader;

pub(crate) use recognise::RAW_ENDINGS;
pub(super) use recognise::is_raw_still;
pub use record::{RawBalance, RawRecord};

#[cfg(feature = "raw")]
pub(super) use develop::{cost, open};
#[cfg(not(feature = "raw"))]
pub(super) use without_reader::{cost, open};

/// How to have a raw still developed by somebody else.
pub(super) const DEVELOP_IT: &str = "develop it to 16-bit linear TIFF or half-float OpenEXR: fixed white balance, no tone curve, no \
     sharpening, no lens correction, highlights clipped and not rebuilt; keep the raw file, which has the most to tell";
