//! What a finding and a report are, as data.

mod action;
mod beyond_light;
mod concerns;
pub(crate) mod detail;
mod model;
mod moving;
mod naming;
pub(crate) mod numbers;
pub(crate) mod remedy;
#[cfg(test)]
pub(crate) mod sample;
mod verdict;

pub use crate::image::InputRecord;
pub use crate::sheet::CheckId;
pub use crate::sphere::SphereRole;
pub use action::{Action, LightFactor, LightPart, LightSeen, Place, Share};
pub(crate) use beyond_light::is_beyond_light;
pub use concerns::Concerns;
pub use model::{
    Attachment, Balance, ErrorNote, Finding, LightReport, Provenance, REPORT_FORMAT, Report, ResponseReport,
    SphereReport, ToolNote,
};
pub use moving::{Curve, FrameReport, FrameValue, SequenceReport};
pub(crate) use naming::Naming;
pub use remedy::Remedy;
pub use verdict::{ShotVerdict, Verdict};
