//! limits
