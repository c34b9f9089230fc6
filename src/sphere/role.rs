//! The two kinds of sphere.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whose sphere it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SphereRole {
    /// Photographed on set.
    Mirror,
    /// Rendered.
    Cg,
}
