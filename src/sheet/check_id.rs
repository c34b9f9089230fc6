//! Which check.

use std::cmp::Ordering;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};

/// A check, by the name that sheets, reports and the command line use. Ordered by name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
#[allow(missing_docs, reason = "each is named for its check, which `plateproof explain` describes")]
pub enum CheckId {
    HighlightDirection,
    KeyFillRatio,
    Exposure,
    ColourBalance,
    ReferenceDrift,
    EnvironmentRotation,
    Environment,
    FieldOfView,
    Scale,
    CleanPlate,
    LensDistortion,
    SetNotes,
    Sun,
    LightGains,
    GreySphere,
    SpherePlace,
    /// One that this version does not know, in a report by another.
    Other(String),
}

impl CheckId {
    /// Every check of this version.
    pub const ALL: [Self; 16] = [
        Self::HighlightDirection,
        Self::KeyFillRatio,
        Self::Exposure,
        Self::ColourBalance,
        Self::ReferenceDrift,
        Self::EnvironmentRotation,
        Self::Environment,
        Self::FieldOfView,
        Self::Scale,
        Self::CleanPlate,
        Self::LensDistortion,
        Self::SetNotes,
        Self::Sun,
        Self::LightGains,
        Self::GreySphere,
        Self::SpherePlace,
    ];

    /// Its name: `highlight-direction`.
    pub fn name(&self) -> &str {
        match self {
            Self::Other(name) => name,
            known => known.known_name(),
        }
    }

    /// The name of a check of this version; empty for another's.
    pub(crate) const fn known_name(&self) -> &'static str {
        match self {
            Self::HighlightDirection => "highlight-direction",
            Self::KeyFillRatio => "key-fill-ratio",
            Self::Exposure => "exposure",
            Self::ColourBalance => "colour-balance",
            Self::ReferenceDrift => "reference-drift",
            Self::EnvironmentRotation => "environment-rotation",
            Self::Environment => "environment",
            Self::FieldOfView => "field-of-view",
            Self::Scale => "scale",
            Self::CleanPlate => "clean-plate",
            Self::LensDistortion => "lens-distortion",
            Self::SetNotes => "set-notes",
            Self::Sun => "sun",
            Self::LightGains => "light-gains",
            Self::GreySphere => "grey-sphere",
            Self::SpherePlace => "sphere-place",
            Self::Other(_) => "",
        }
    }
}

impl From<&str> for CheckId {
    fn from(name: &str) -> Self {
        Self::ALL.into_iter().find(|check| check.known_name() == name).unwrap_or_else(|| Self::Other(name.to_owned()))
    }
}

impl From<String> for CheckId {
    fn from(name: String) -> Self {
        name.as_str().into()
    }
}

impl From<CheckId> for String {
    fn from(check: CheckId) -> Self {
        check.name().to_owned()
    }
}

impl fmt::Display for CheckId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl PartialEq<str> for CheckId {
    fn eq(&self, name: &str) -> bool {
        self.name() == name
    }
}

impl PartialEq<&str> for CheckId {
    fn eq(&self, name: &&str) -> bool {
        self.name() == *name
    }
}

impl Ord for CheckId {
    fn cmp(&self, other: &Self) -> Ordering {
        self.name().cmp(other.name())
    }
}

impl PartialOrd for CheckId {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// A string: a report of a later version may name a check that this one does not know.
impl JsonSchema for CheckId {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        "CheckId".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_reads_back_and_an_unknown_one_is_kept() {
        for check in CheckId::ALL {
            assert_eq!(CheckId::from(check.name()), check);
        }
        let later = CheckId::from("tide-table");
        assert_eq!((later.name(), &later), ("tide-table", &CheckId::Other("tide-table".to_owned())));
        assert!(CheckId::ColourBalance < CheckId::Exposure && CheckId::Exposure < later);
    }
}
