//! The words of a judgement.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Verdict of a shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ShotVerdict {
    /// Everything compared agrees within tolerance.
    Match,
    /// Something could not be decided.
    Unsure,
    /// Something is off.
    Mismatch,
    /// The shot could not be done.
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
    /// The input of the check was not supplied.
    NotGiven,
    /// Within tolerance, beyond doubt.
    Match,
    /// The evidence does not decide.
    Unsure,
    /// Outside tolerance, beyond doubt.
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
