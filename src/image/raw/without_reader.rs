//! What a build without the reader of raw stills says of them.

use std::path::Path;

use super::DEVELOP_IT;
use crate::image::Frame;
use crate::image::limits::Limits;
use crate::image::request::OpenRequest;
use crate::image::stream::InputFile;
use crate::{Error, ErrorKind, Result};

/// Says that this build does not read them.
///
/// # Errors
/// Always `Unsupported`.
pub(in crate::image) fn open(request: &OpenRequest<'_>, _: &InputFile) -> Result<Frame> {
    let remedy =
        format!("use a build that reads them (`cargo install --path . --features raw`, see README), or {DEVELOP_IT}");
    Err(Error::new(ErrorKind::Unsupported, request.path, "this build does not read raw stills", remedy))
}

/// Nothing is known of what this build does not read.
pub(in crate::image) fn cost(_: &Path, _: &Limits) -> Option<[u64; 2]> {
    None
}
