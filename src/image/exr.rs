//! exr
