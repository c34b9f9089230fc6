//! Checks.
