//! What a finding is called where several are listed together.

use std::collections::BTreeSet;

use super::{CheckId, Concerns, Curve, Finding, Report};
use crate::printable_text;

/// Which findings of a report need more than the name of their check.
#[derive(Debug, Clone, Default)]
pub(crate) struct Naming {
    /// With one mirror its name behind every check would be noise.
    several_mirrors: bool,
    /// The checks with findings on the reference as well as on the CG.
    two_sided: BTreeSet<CheckId>,
}

impl Naming {
    /// The names for one report's findings.
    pub(crate) fn of(report: &Report) -> Self {
        Self { several_mirrors: has_several_mirrors(report), two_sided: two_sided(report) }
    }

    /// `highlight-direction`, with several mirrors `highlight-direction (m1)`; a check that speaks of both sides says
    /// which: `environment (CG)`.
    pub(crate) fn name(&self, finding: &Finding) -> String {
        let (mirror, concerns) = (finding.mirror.as_deref(), finding.concerns);
        self.name_of_curve(Curve { check: &finding.check, mirror, concerns })
    }

    /// The same for a curve over time.
    pub(crate) fn name_of_curve(&self, curve: Curve<'_>) -> String {
        let mirror = curve.mirror.filter(|_| self.several_mirrors);
        let side = self.two_sided.contains(curve.check).then(|| curve.concerns.side_word().to_owned());
        let marks: Vec<String> = mirror.map(printable_text).into_iter().chain(side).collect();
        let check = printable_text(curve.check.name());
        if marks.is_empty() { check } else { format!("{check} ({})", marks.join(", ")) }
    }
}

fn two_sided(report: &Report) -> BTreeSet<CheckId> {
    let of = |concerns: Concerns| report.findings.iter().filter(move |f| f.concerns == concerns);
    let cg: BTreeSet<&CheckId> = of(Concerns::Cg).map(|f| &f.check).collect();
    of(Concerns::Reference).map(|f| &f.check).filter(|check| cg.contains(check)).cloned().collect()
}

fn has_several_mirrors(report: &Report) -> bool {
    let mut names = report.findings.iter().filter_map(|f| f.mirror.as_deref());
    let first = names.next();
    names.any(|name| Some(name) != first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    #[test]
    fn a_check_of_both_sides_says_which() {
        let mut report = sample::mismatch();
        let check = report.findings[0].check.clone();
        assert!(!Naming::of(&report).name(&report.findings[0]).contains("(CG)"));
        let mut twin = report.findings[0].clone();
        twin.concerns = Concerns::Reference;
        report.findings.push(twin);
        let naming = Naming::of(&report);
        assert!(naming.name(&report.findings[0]).ends_with("CG)"), "{}", naming.name(&report.findings[0]));
        let last = report.findings.last().unwrap();
        assert!(naming.name(last).starts_with(check.name()) && naming.name(last).ends_with("on-set)"));
    }
}
