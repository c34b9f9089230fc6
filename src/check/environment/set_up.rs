//! The CG's half: does the CG sphere show what the environment gives?

use super::super::CHECKS;
use super::prediction::Compared;
use crate::compare::Comparison;
use crate::findings::detail::{SAID_BY_OTHERS, TOLD};
use crate::findings::remedy::{Condition, Subject};
use crate::findings::{Finding, Remedy, Verdict};

/// A CG that matches the photographed sphere is not accused for differing from the capture; else the comparison with
/// the capture says whose fault it is.
pub(super) fn judge(finding: &mut Finding, with_photograph: &Comparison, capture: &Compared, set_up: &Compared) {
    set_up.value(finding);
    finding.detail.insert("cg_against_predicted".to_owned(), set_up.detail());
    let sphere = CHECKS.iter().map(|check| check.run(with_photograph).verdict).max().unwrap_or(Verdict::Unsure);
    let own = set_up.verdict();
    finding.verdict = own.min(sphere);
    let off = set_up.off_words();
    if own == Verdict::Match {
        if capture.verdict() == Verdict::Mismatch {
            "the CG follows the environment; the capture is what is wrong".clone_into(&mut finding.reason);
        }
        return;
    }
    finding.reason = format!("the CG sphere, compared with the one the environment predicts: {off}");
    if sphere == Verdict::Match {
        finding.reason +=
            "; it still matches the photographed sphere, so the difference is deliberate or comes from the capture";
        finding.detail.insert(TOLD.to_owned(), finding.reason.clone().into());
        return;
    }
    if own != Verdict::Mismatch {
        return;
    }
    if capture.verdict() != Verdict::Match {
        finding.reason += "; the capture does not agree with the photographed sphere either, so fix the capture first";
    } else if sphere == Verdict::Mismatch {
        finding.reason += "; the capture agrees with the photographed sphere, so the CG set-up is what is wrong, as the other checks of the sphere say";
        finding.remedy = Remedy::of_all(set_up.remedies(), Subject::Cg);
        finding.remedy.hold(Condition::AskedByOthers);
        finding.detail.insert(SAID_BY_OTHERS.to_owned(), true.into());
    } else {
        finding.reason += "; the capture agrees with the photographed sphere, so the CG set-up is what is wrong";
        finding.remedy = Remedy::of_all(set_up.remedies(), Subject::Cg);
    }
}
