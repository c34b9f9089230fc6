//! Numbers too large for light.

use super::{CheckId, Finding};

/// From this difference on a wrong encoding or layer is likelier than wrong light: a lamp or sky is hardly ever 64 times
/// too strong in a CG that somebody looked at (common practice, no source).
const IMPLAUSIBLE_STOPS: f64 = 6.0;

/// Checks whose number a wrong encoding drives out of all proportion.
const DRIVEN: [CheckId; 2] = [CheckId::Exposure, CheckId::KeyFillRatio];

/// A file read in the wrong encoding is likelier than light of this strength.
pub(crate) fn is_beyond_light(finding: &Finding) -> bool {
    DRIVEN.contains(&finding.check) && finding.value.is_some_and(|value| value.abs() > IMPLAUSIBLE_STOPS)
}
