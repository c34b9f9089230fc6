//! exif
