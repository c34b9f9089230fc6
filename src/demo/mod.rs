//! The demo show.
