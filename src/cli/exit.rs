//! Exit statuses.

use std::process::ExitCode;

use crate::findings::ShotVerdict;

/// How a run ended. The order is the order of rank: a later one outranks an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) enum ExitStatus {
    /// Everything matches.
    #[default]
    AllMatch,
    /// Something is unsure, nothing worse.
    Unsure,
    /// Something is off.
    Mismatch,
    /// Wrong use, or some input could not be used.
    Unusable,
    /// A signal asked for the end before all was done. Nothing is lost, and running it again goes on.
    Interrupted,
}

impl From<ShotVerdict> for ExitStatus {
    fn from(verdict: ShotVerdict) -> Self {
        match verdict {
            ShotVerdict::Match => Self::AllMatch,
            ShotVerdict::Unsure => Self::Unsure,
            ShotVerdict::Mismatch => Self::Mismatch,
            ShotVerdict::Error => Self::Unusable,
        }
    }
}

impl ExitStatus {
    /// The number that the shell sees: 0, 3, 1, 2 or 4.
    pub(super) fn number(self) -> u8 {
        match self {
            Self::AllMatch => 0,
            Self::Mismatch => 1,
            Self::Unusable => 2,
            Self::Unsure => 3,
            Self::Interrupted => 4,
        }
    }
}

impl From<ExitStatus> for ExitCode {
    fn from(status: ExitStatus) -> Self {
        Self::from(status.number())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::ShotVerdict::{Error, Match, Mismatch, Unsure};

    #[test]
    fn two_outranks_one_outranks_three() {
        let worst =
            |verdicts: &[ShotVerdict]| verdicts.iter().map(|v| ExitStatus::from(*v)).max().unwrap_or_default().number();
        assert_eq!(worst(&[]), 0);
        assert_eq!(worst(&[Match, Unsure]), 3);
        assert_eq!(worst(&[Unsure, Mismatch, Match]), 1);
        assert_eq!(worst(&[Mismatch, Error, Unsure]), 2);
    }
}
