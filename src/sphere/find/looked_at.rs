//! How much looks like a rim on findings: looked at only where it may matter, for it takes time.

use super::decide::eligible;
use super::rim_chance::rim_chance;
use super::search::{Finding, Prepared};
use super::traits::traits;
use super::weigh::log_odds;
use crate::base::parallel;

/// Findings of lower odds on the plainest of rims, natural log, are not looked at: together they hardly count.
pub(super) const HOPELESS: f64 = -3.0;

impl Prepared<'_> {
    /// The findings that may be a mirror's, looked at where that may matter; `None` of none.
    pub(super) fn seen(&self, findings: &[Finding]) -> Option<Vec<Finding>> {
        let eligible = (!findings.is_empty()).then(|| eligible(findings.to_vec()))?;
        self.look_at(&eligible, HOPELESS);
        Some(eligible)
    }

    /// Looks how much looks like a rim on findings that may have at least these odds, natural log, to be the sphere's.
    pub(super) fn look_at(&self, findings: &[Finding], least_odds: f64) {
        let odds = log_odds(&traits(findings));
        let hopeful: Vec<&Finding> =
            findings.iter().zip(odds).filter(|(_, odds)| *odds >= least_odds).map(|f| f.0).collect();
        let looks = parallel::map_each(&hopeful, |f| {
            f.rim.get().copied().unwrap_or_else(|| rim_chance(self.frame, self.view, &f.circle))
        });
        for (finding, look) in hopeful.iter().zip(looks) {
            finding.rim.get_or_init(|| look);
        }
    }
}
