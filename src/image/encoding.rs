//! encoding
