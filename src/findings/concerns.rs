//! Whom a finding concerns.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whom a finding concerns. What concerns the reference does not accuse the CG.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Concerns {
    /// The CG.
    Cg,
    /// What came from set.
    Reference,
}

impl PartialEq<&str> for Concerns {
    fn eq(&self, word: &&str) -> bool {
        self.word() == *word
    }
}

impl PartialEq<str> for Concerns {
    fn eq(&self, word: &str) -> bool {
        self.word() == word
    }
}

impl Concerns {
    /// The word in the report.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cg => "cg",
            Self::Reference => "reference",
        }
    }

    /// The word for people.
    pub(crate) fn side_word(self) -> &'static str {
        match self {
            Self::Cg => "CG",
            Self::Reference => "on-set",
        }
    }
}
