//! What a reader needs in ten seconds: the verdict, what is wrong with the CG, the first fix, and what is wrong with
//! the material from set. The same words in the text report, on the picture and in the lines of many shots.

use std::path::Path;

use super::amiss::{amiss_words, doubt_words};
use super::order::{own_faults, set_faults, steps, worst_first};
use super::wording::{prose, undecided_words};
use crate::findings::{CheckId, Concerns, ErrorNote, Finding, InputRecord, Report, ShotVerdict, Verdict, detail};
use crate::printable_text;

/// Faults of the CG that are spelled out; the others are counted.
const FAULTS_TOLD: usize = 2;

/// A report at one glance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Glance {
    /// What is wrong with the CG, why nothing can be said of it, or that it agrees.
    pub cg: String,
    /// What to do, most pressing first, each in its short form; empty where nothing is asked for.
    pub fixes: Vec<String>,
    /// What is wrong with the material from set; empty where nothing is.
    pub on_set: String,
}

impl Glance {
    /// The glance at a report.
    pub fn of(report: &Report) -> Self {
        let fixes = fixes(report);
        let on_set: Vec<String> = set_faults(report).into_iter().map(amiss_words).collect();
        Self { cg: about_cg(report), fixes, on_set: on_set.join("; ") }
    }

    /// What a page's head says, each line with its word before it; the first fix alone.
    pub fn labelled_lines(&self) -> Vec<String> {
        let fix = self.fixes.first().map(|fix| match self.fixes.len() {
            1 => format!("FIX: {fix}"),
            several => format!("FIX: {fix} (first of {several} fixes)"),
        });
        let on_set = (!self.on_set.is_empty()).then(|| format!("SET: {}", self.on_set));
        [Some(format!("CG: {}", self.cg)), fix, on_set].into_iter().flatten().collect()
    }

    /// All but the fixes in one line.
    pub fn line(&self) -> String {
        if self.on_set.is_empty() { self.cg.clone() } else { format!("{}; on-set: {}", self.cg, self.on_set) }
    }
}

/// What to do, without what only waits for another fix. Where the captured environment has to be mended in the CG's
/// place, the fix is that of the environment.
fn fixes(report: &Report) -> Vec<String> {
    let steps: Vec<&Finding> = steps(report).into_iter().map(|step| step[0]).collect();
    let own: Vec<&Finding> = steps.iter().copied().filter(|f| !f.detail.contains_key(detail::AFTER)).collect();
    let told = if own.is_empty() { steps } else { own };
    let environment = set_faults(report).into_iter().find(|f| f.check == CheckId::Environment && !f.remedy.is_empty());
    let mut fixes: Vec<String> = Vec::new();
    for finding in told {
        let fix = match environment.filter(|_| finding.detail.contains_key(detail::MEND_IN)) {
            Some(environment) => {
                format!("{}; the CG is lit by it: render again, then check again", environment.remedy.short())
            }
            None => finding.remedy.short(),
        };
        let fix = prose(&fix);
        if !fixes.contains(&fix) {
            fixes.push(fix);
        }
    }
    fixes
}

/// The verdict with the number of on-set problems where the CG is right: `MATCH, 1 on-set problem`.
pub fn verdict_heading(report: &Report) -> String {
    let verdict = report.verdict.word().to_uppercase();
    match set_problem_words(report).filter(|_| report.verdict == ShotVerdict::Match) {
        Some(words) => format!("{verdict}, {words}"),
        None => verdict,
    }
}

/// `1 on-set problem`; nothing where there is none.
pub fn set_problem_words(report: &Report) -> Option<String> {
    match set_faults(report).len() {
        0 => None,
        1 => Some("1 on-set problem".to_owned()),
        several => Some(format!("{several} on-set problems")),
    }
}

fn about_cg(report: &Report) -> String {
    let findings = || worst_first(report).into_iter().filter(|f| f.concerns == Concerns::Cg);
    let compared = findings().filter(|f| f.verdict != Verdict::NotGiven).count();
    match report.verdict {
        ShotVerdict::Error => report.error.as_ref().map(error_words).unwrap_or_default(),
        ShotVerdict::Mismatch => fault_words(findings().filter(|f| f.waived.is_none()).collect()),
        ShotVerdict::Unsure if !report.required_undecided.is_empty() => undecided_words(&report.required_undecided),
        ShotVerdict::Unsure => {
            open_words(&findings().filter(|f| f.verdict == Verdict::Unsure).collect::<Vec<_>>(), compared)
        }
        ShotVerdict::Match => {
            let waived = findings().filter(|f| f.waived.is_some() && f.verdict != Verdict::NotGiven).count();
            let agree = match waived {
                0 => format!("all {compared} CG checks are within tolerance"),
                waived => {
                    format!("{} of {compared} CG checks are within tolerance, {waived} waived", compared - waived)
                }
            };
            agree + unproven(report)
        }
    }
}

/// Every fault of the CG that no other one explains.
fn fault_words(findings: Vec<&Finding>) -> String {
    let all: Vec<&Finding> = findings.into_iter().filter(|f| f.verdict == Verdict::Mismatch).collect();
    let own = own_faults(&all);
    let mut told: Vec<String> = own.iter().take(FAULTS_TOLD).map(|f| amiss_words(f)).collect();
    match own.len().saturating_sub(FAULTS_TOLD) {
        0 => {}
        more => told.push(format!("and {more} more")),
    }
    if told.is_empty() { "outside tolerance".to_owned() } else { joined(&told) }
}

/// Clauses one after the other; what is said of the same thing in one breath.
fn joined(clauses: &[String]) -> String {
    const SAME: &str = "the CG is ";
    let mut words: Vec<&str> = Vec::new();
    for (index, clause) in clauses.iter().enumerate() {
        match clause.strip_prefix(SAME).filter(|_| index > 0 && clauses[index - 1].starts_with(SAME)) {
            Some(rest) => words.extend([" and ", rest]),
            None if index > 0 => words.extend(["; ", clause]),
            None => words.push(clause),
        }
    }
    words.concat()
}

/// What is open, and what is in the way of the first of it.
fn open_words(open: &[&Finding], compared: usize) -> String {
    let Some(first) = open.first() else { return "nothing could be compared".to_owned() };
    let count = match open.len() {
        all if all == compared && all > 1 => format!("none of the {all} checks could be decided"),
        some => format!("{some} of {compared} checks could not be decided"),
    };
    format!("{count}; {}: {}", printable_text(first.check.name()), doubt_words(first))
}

/// What a match does not prove, for want of a plate.
fn unproven(report: &Report) -> &'static str {
    let of = |role: &'static str| report.inputs.iter().filter(move |input| input.role == role);
    let plate = of("plate").next();
    let is_mirror = |plate: &InputRecord| of("mirror").any(|mirror| mirror.is_same_picture(plate));
    match plate {
        None => "; no plate was given",
        Some(plate) if is_mirror(plate) => "; the plate given is the mirror frame itself",
        Some(_) => "",
    }
}

/// Which file, and what is wrong with it.
fn error_words(error: &ErrorNote) -> String {
    let name = Path::new(&error.file).file_name().unwrap_or_default().to_string_lossy().into_owned();
    let cause = prose(&error.cause);
    if name.is_empty() || cause.contains(&name) { cause } else { format!("{}: {cause}", printable_text(&name)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    #[test]
    fn a_mismatch_says_what_is_wrong_and_what_to_do() {
        let glance = Glance::of(&sample::mismatch());
        assert!(glance.cg.starts_with("the key light is 10.3 deg off"), "{}", glance.cg);
        assert!(glance.fixes[0].starts_with("turn the CG key 11.5 deg clockwise"), "{:?}", glance.fixes);
        assert_eq!(glance.on_set, "the sphere frame is 0.31 stops darker than the plate");
    }

    #[test]
    fn a_missing_light_is_named_where_the_keys_agree() {
        let mut finding = sample::mismatch().findings[0].clone();
        finding.verdict = Verdict::Mismatch;
        (finding.value, finding.value_sd, finding.tolerance) = (Some(0.2), Some(0.2), 5.0);
        finding.reason = "no single key; a light is missing in the CG: azimuth -116, elevation +27 deg".to_owned();
        let lights = serde_json::json!([{ "azimuth_deg": -116.0, "share": 0.61 }]);
        finding.detail.insert("missing_in_cg".to_owned(), lights);
        assert_eq!(amiss_words(&finding), "a light is missing: 61 % of what a surface facing it receives");
        finding.value = Some(10.0);
        assert!(amiss_words(&finding).starts_with("the key light is 10.0 deg off"));
    }

    #[test]
    fn nothing_compared_is_said() {
        let mut report = sample::unsure();
        report.findings.clear();
        assert_eq!(Glance::of(&report).cg, "nothing could be compared");
    }
}
