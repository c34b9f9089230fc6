//! Registration of two frames.
