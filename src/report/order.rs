//! Which findings come first, and what is to be done about them in which order.

use super::wording::is_set_problem;
use crate::findings::{CheckId, Concerns, Finding, Report, Verdict, detail};

/// The findings that ask for something, worst first. Waived ones ask for nothing, and those that wait for another
/// come last.
pub(crate) fn asking(report: &Report) -> Vec<&Finding> {
    let asks = |f: &&Finding| {
        f.concerns == Concerns::Cg
            && f.waived.is_none()
            && !f.detail.contains_key(detail::SAID_BY_OTHERS)
            && f.verdict >= Verdict::Unsure
            && !f.remedy.is_empty()
    };
    let mut asking: Vec<_> = worst_first(report).into_iter().filter(asks).collect();
    asking.sort_by_key(|f| f.detail.contains_key(detail::AFTER));
    asking
}

/// What is to be done, each step with all findings that ask for it; in the order of the first of each.
pub(crate) fn steps(report: &Report) -> Vec<Vec<&Finding>> {
    let all = asking(report);
    let mut steps: Vec<Vec<&Finding>> = Vec::new();
    for finding in all.iter().copied().filter(|f| turned_instead(f, &all).is_none()) {
        match steps.iter_mut().find(|step| step[0].remedy == finding.remedy || in_one(step[0], finding)) {
            // The colour's gain holds the exposure's too.
            Some(step) if finding.detail.contains_key(detail::GAIN_WITH_EXPOSURE) => step.insert(0, finding),
            Some(step) => step.push(finding),
            None => steps.push(vec![finding]),
        }
    }
    steps
}

/// Exposure and colour of one pair that one gain mends.
fn in_one(a: &Finding, b: &Finding) -> bool {
    let holds_both = |colour: &Finding, exposure: &Finding| {
        colour.detail.contains_key(detail::GAIN_WITH_EXPOSURE) && exposure.check == CheckId::Exposure
    };
    a.mirror == b.mirror && (holds_both(a, b) || holds_both(b, a))
}

/// The turn of the whole environment that mends what this finding would mend by turning the key: doing both would turn
/// twice. `None` where both ask for the same anyway.
pub(crate) fn turned_instead<'a>(finding: &Finding, all: &[&'a Finding]) -> Option<&'a Finding> {
    let turned = |f: &&&Finding| {
        f.check == CheckId::EnvironmentRotation
            && f.verdict == Verdict::Mismatch
            && f.mirror == finding.mirror
            && !f.remedy.is_empty()
    };
    let turns_key = finding.check == CheckId::HighlightDirection && finding.verdict == Verdict::Mismatch;
    all.iter().find(turned).copied().filter(|turn| turns_key && turn.remedy != finding.remedy)
}

/// The findings of `all` that no other one of them explains; those that go once it is mended are left out. Where each
/// waits for another, all.
pub(crate) fn own_faults<'a>(all: &[&'a Finding]) -> Vec<&'a Finding> {
    let follows = |f: &Finding| {
        f.detail.contains_key(detail::AFTER)
            || f.detail.contains_key(detail::SAID_BY_OTHERS)
            || turned_instead(f, all).is_some()
    };
    let own: Vec<&Finding> = all.iter().copied().filter(|f| !follows(f)).collect();
    if own.is_empty() { all.to_vec() } else { own }
}

/// What came from set and does not fit; it does not count for the verdict.
pub(crate) fn set_faults(report: &Report) -> Vec<&Finding> {
    worst_first(report).into_iter().filter(|finding| is_set_problem(finding)).collect()
}

/// Worst verdict first, waived ones among the matches; within a verdict those of the CG first, then in the order in
/// which they were made.
pub(crate) fn worst_first(report: &Report) -> Vec<&Finding> {
    let mut findings: Vec<&Finding> = report.findings.iter().collect();
    let rank = |f: &Finding| if f.waived.is_some() { Verdict::Match } else { f.verdict };
    findings.sort_by_key(|f| {
        (std::cmp::Reverse(rank(f)), rank(f) == Verdict::Mismatch && f.concerns == Concerns::Reference)
    });
    findings
}
