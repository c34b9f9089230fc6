//! The shot sheet.
