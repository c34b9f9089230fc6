//! bracket
