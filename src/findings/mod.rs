//! What a finding and a report are, as data.

mod action;
pub(crate) mod detail;
mod model;
mod moving;
mod naming;
pub(crate) mod numbers;
#[cfg(test)]
pub(crate) mod sample;
mod verdict;

pub use crate::image::InputRecord;
pub use crate::sphere::SphereRole;
pub use action::{Action, LightFactor, LightPart, LightSeen, Place, Share};
pub use model::{
    Attachment, Balance, ErrorNote, Finding, LightReport, Provenance, REPORT_FORMAT, Report, ResponseReport,
    SphereReport, ToolNote,
};
pub use moving::{Curve, FrameReport, FrameValue, SequenceReport};
pub(crate) use naming::{Naming, side_word};
pub use verdict::{ShotVerdict, Verdict};
