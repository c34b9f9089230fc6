//! The report of one shot: plain data here, rendering in the files beside it. Rendering computes nothing.

pub(crate) mod columns;
pub(crate) mod detail;
pub mod json;
mod model;
mod moving;
mod naming;
pub mod picture;
#[cfg(test)]
pub(crate) mod sample;
pub mod text;
pub mod wording;
pub mod write;

pub use json::{report_schema, to_json};
pub use model::{
    Attachment, Balance, ErrorNote, Finding, InputRecord, LightReport, Provenance, REPORT_FORMAT, Report,
    ResponseReport, ShotVerdict, SphereReport, SphereRole, ToolNote, Verdict,
};
pub use moving::{Curve, FrameReport, FrameValue, SequenceReport};
pub(crate) use naming::{Naming, side_word};
pub use text::render_text;
pub use write::{WrittenPaths, report_stem, write_report};
