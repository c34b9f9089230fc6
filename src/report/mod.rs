//! The report of one shot: plain data here, rendering in the files beside it. Rendering computes nothing.

pub mod amiss;
pub(crate) mod columns;
pub(crate) mod fixes;
pub mod glance;
pub mod json;
mod marks;
pub(crate) mod order;
pub mod picture;
pub mod text;
pub mod wording;
pub mod write;

pub use json::{report_schema, to_json};
pub use marks::{FIXES_FORMAT, SET_LIGHT_FORMAT};
pub use text::render_text;
pub use write::{WrittenPaths, report_stem, write_report};
