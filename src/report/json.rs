//! JSON files and schema.
