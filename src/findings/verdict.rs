//! The verdicts on a finding and on a shot.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Verdict of a shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ShotVerdict {
    /// Everything compared agrees within tolerance.
    Match,
    /// Something is too uncertain to decide.
    Unsure,
    /// Something is outside tolerance.
    Mismatch,
    /// The shot could not be checked.
    Error,
}

impl ShotVerdict {
    /// The word in the report.
    pub fn word(self) -> &'static str {
        match self {
            Self::Match => "match",
            Self::Unsure => "unsure",
            Self::Mismatch => "mismatch",
            Self::Error => "error",
        }
    }
}

/// Verdict of one finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// What the check needs was not supplied.
    NotGiven,
    /// Within tolerance, allowing for the uncertainty.
    Match,
    /// Too uncertain to decide.
    Unsure,
    /// Outside tolerance, allowing for the uncertainty.
    Mismatch,
}

impl Verdict {
    /// The word in the report.
    pub fn word(self) -> &'static str {
        match self {
            Self::NotGiven => "not-given",
            Self::Match => "match",
            Self::Unsure => "unsure",
            Self::Mismatch => "mismatch",
        }
    }
}
