//! spaces
