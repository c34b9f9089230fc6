//! The picture of what moved.

use crate::Result;
use crate::findings::{Attachment, REPORT_FORMAT};
use crate::image::Size;
use crate::image::marked_png::encode_png;
use crate::register::Moved;

/// White moved, black still, grey not comparable, at the plate's size.
pub(super) fn png(moved: &Moved, size: Size) -> Result<Attachment> {
    let grey = moved.mask(size);
    let rgb: Vec<u8> = grey.iter().flat_map(|v| [*v; 3]).collect();
    let bytes = encode_png(size.width as u32, size.height as u32, &rgb, REPORT_FORMAT)?;
    Ok(Attachment { ending: "moved.png".to_owned(), bytes })
}
