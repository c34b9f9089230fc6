//! bradford
