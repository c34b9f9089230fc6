//! The evidence picture.

mod png_file;

pub(crate) use png_file::{PICTURE_KEYWORD, PNG_SIGNATURE, encode_png};
