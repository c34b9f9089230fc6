//! What a finding and a report are, as data.

pub(crate) mod detail;
mod model;
mod moving;
mod naming;
pub(crate) mod numbers;
#[cfg(test)]
pub(crate) mod sample;

pub use crate::image::InputRecord;
pub use crate::sphere::SphereRole;
pub use model::{
    Attachment, Balance, ErrorNote, Finding, LightReport, Provenance, REPORT_FORMAT, Report, ResponseReport,
    ShotVerdict, SphereReport, ToolNote, Verdict,
};
pub use moving::{Curve, FrameReport, FrameValue, SequenceReport};
pub(crate) use naming::{Naming, side_word};
