//! difference
