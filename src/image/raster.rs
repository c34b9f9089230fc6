//! Camera and display files in: JPEG, PNG, TIFF, Radiance HDR, TGA.
use super::Frame;
use super::open::OpenRequest;
use super::sniff::Kind;
use super::stream::HashedFile;
use crate::{Error, ErrorKind, Result};
pub(super) fn open(request: &OpenRequest<'_>, _kind: Kind, _file: HashedFile) -> Result<Frame> {
    Err(Error::new(ErrorKind::Unsupported, request.path, "x", "y"))
}
