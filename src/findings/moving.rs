//! A moving shot over time, as its report describes it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CheckId, Concerns, ShotVerdict, Verdict};

/// A moving shot, sampled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SequenceReport {
    /// Number of the first frame.
    pub first_frame: u32,
    /// Number of the last frame.
    pub last_frame: u32,
    /// Frames from one sample to the next; the last interval may be shorter.
    pub every_frames: u32,
    /// The frame that the rest of the report describes: the one with the worst verdict and, of several, the one
    /// furthest out of tolerance.
    pub worst_frame: u32,
    /// Every sampled frame, in order.
    pub frames: Vec<FrameReport>,
}

/// One frame of a moving shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameReport {
    /// Frame number.
    pub frame: u32,
    /// Verdict of this frame.
    pub verdict: ShotVerdict,
    /// Why the frame could not be checked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<String>,
    /// Its numbers: one entry per check and mirror.
    pub values: Vec<FrameValue>,
}

/// One number of one frame; the keys mean what they mean in a finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameValue {
    /// Name of the check.
    pub check: CheckId,
    /// Name of the mirror, as in the sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// What it is about: `cg` for the CG, `reference` for the material from set, which does not count against the CG.
    pub concerns: Concerns,
    /// The verdict.
    pub verdict: Verdict,
    /// CG minus photographed; absent if it could not be measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// One standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_sd: Option<f64>,
    /// Unit of `value`, `value_sd` and `tolerance`.
    pub unit: String,
    /// The tolerance that `value` was compared with.
    pub tolerance: f64,
}

/// What one curve over time is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Curve<'a> {
    /// Name of the check.
    pub check: &'a CheckId,
    /// Name of the mirror, as in the sheet.
    pub mirror: Option<&'a str>,
    /// What it is about: `cg` for the CG, `reference` for the material from set, which does not count against the CG.
    pub concerns: Concerns,
}

impl FrameValue {
    /// The curve that the number belongs to.
    pub fn curve(&self) -> Curve<'_> {
        Curve { check: &self.check, mirror: self.mirror.as_deref(), concerns: self.concerns }
    }
}

impl SequenceReport {
    /// The curves in a fixed order.
    pub fn curves(&self) -> Vec<Curve<'_>> {
        let mut names: Vec<_> = self.frames.iter().flat_map(|frame| &frame.values).map(FrameValue::curve).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The points of one curve: frame number and number.
    pub fn points(&self, curve: Curve<'_>) -> Vec<(u32, &FrameValue)> {
        let of_frame = |frame: &'_ FrameReport| frame.values.iter().position(|v| v.curve() == curve);
        self.frames.iter().filter_map(|frame| Some((frame.frame, &frame.values[of_frame(frame)?]))).collect()
    }
}
