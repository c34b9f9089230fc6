//! What became of one shot since an earlier set of reports.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::ShotVerdict;

/// What became of a shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ChangeKind {
    /// The verdict is worse than it was, or the same and its number further out beyond doubt.
    Worse,
    /// The shot was not in the earlier set.
    FirstSeen,
    /// The same verdict as before, and no number that moved beyond doubt.
    Same,
    /// A better verdict and still no match, or the same one and its number nearer beyond doubt.
    Better,
    /// It did not match, and still would not but for a waiver.
    Waived,
    /// It did not match, and now it does.
    Cured,
}

impl ChangeKind {
    /// The word in the summary.
    pub fn word(self) -> &'static str {
        match self {
            Self::Worse => "worse",
            Self::FirstSeen => "first seen",
            Self::Same => "same",
            Self::Better => "better",
            Self::Waived => "waived",
            Self::Cured => "cured",
        }
    }
}

/// A shot now against then.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Change {
    /// What became of it.
    pub kind: ChangeKind,
    /// The earlier version, where the earlier report names one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earlier_version: Option<String>,
    /// The earlier verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earlier_verdict: Option<ShotVerdict>,
    /// What the earlier report measured of the number that mattered then, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earlier_words: Option<String>,
}
