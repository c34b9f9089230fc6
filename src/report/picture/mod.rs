//! The evidence picture.
