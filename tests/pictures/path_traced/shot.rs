//! One golden shot, checked.

use std::path::Path;

use plateproof::findings::{Finding, LightReport, Report, SphereReport, SphereRole, Verdict};
use plateproof::sheet::load_sheet;
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::{angle_between_rad, direction_of_deg};

use super::truth::{CHECKS, Light, Truth, number};

/// A reported light within this angle of a true one is that light.
const SAME_LIGHT_DEG: f64 = 4.0;

/// Unpaired lights below this share are of no consequence.
const SHARE_THAT_MATTERS: f64 = 0.10;

pub(crate) struct Shot {
    pub(crate) name: String,
    pub(crate) truth: Truth,
    pub(crate) report: Report,
}

/// One side's sphere as reported.
pub(crate) struct Sphere<'a> {
    /// As truth names the side: `mirror` or `cg`.
    pub(crate) side: &'static str,
    pub(crate) report: &'a SphereReport,
}

impl Sphere<'_> {
    /// The reported light that is the true one, with the angle between them in degrees.
    pub(crate) fn nearest(&self, truth: &Light) -> Option<(f64, &LightReport)> {
        let angle = |l: &LightReport| {
            angle_between_rad(&direction_of_deg(l.azimuth_deg, l.elevation_deg), &truth.direction).to_degrees()
        };
        let all = self.report.lights.iter().map(|l| (angle(l), l));
        all.filter(|found| found.0 < SAME_LIGHT_DEG.max(0.5 * truth.angular_radius_deg))
            .min_by(|a, b| a.0.total_cmp(&b.0))
    }
}

impl Shot {
    pub(crate) fn check(folder: &Path) -> Self {
        let sheet = load_sheet(&folder.join("shot.json")).expect("the golden sheets are sound");
        let name = folder.file_name().unwrap().to_string_lossy().into_owned();
        let report = check_shot(&sheet, RunOptions::default()).report;
        Self { name, truth: Truth::read(folder), report }
    }

    pub(crate) fn spheres(&self) -> impl Iterator<Item = Sphere<'_>> {
        self.report.spheres.iter().map(|report| {
            let side = if report.role == SphereRole::Mirror { "mirror" } else { "cg" };
            Sphere { side, report }
        })
    }

    /// `None` where the shot could not be done.
    pub(crate) fn finding(&self, check: &str) -> Option<&Finding> {
        self.report.findings.iter().find(|f| f.check == check)
    }

    pub(crate) fn verdict(&self, check: &str) -> Option<Verdict> {
        self.finding(check).map(|f| f.verdict)
    }

    /// A finding's value, or why there is none.
    pub(crate) fn value(&self, check: &str) -> Result<f64, String> {
        let Some(finding) = self.finding(check) else {
            let cause = self.report.error.as_ref().map_or("", |e| &e.cause);
            return Err(format!("no finding {check}: {cause}"));
        };
        finding.value.ok_or_else(|| format!("{check} has no value: {}", finding.reason))
    }

    /// What the direction error may be off by: the coarsest of the keys' bounds on both sides.
    pub(crate) fn direction_bound_deg(&self) -> f64 {
        let keys = if self.truth.error("highlight-direction")["single_key"] == false { 2 } else { 1 };
        let bounds = ["mirror", "cg"].into_iter().flat_map(|side| self.truth.lights(side).into_iter().take(keys));
        bounds.map(|light| light.direction_bound_deg()).fold(0.0, f64::max)
    }

    /// Names of the true lights that the report lists as unpaired, as far as they matter.
    pub(crate) fn unpaired_that_matter(&self, key: &str, side: &'static str) -> Vec<String> {
        let truth = self.truth.lights(side);
        let entries = self.finding("highlight-direction").and_then(|f| f.detail[key].as_array());
        let matter = entries.into_iter().flatten().filter(|e| number(&e["share"]) >= SHARE_THAT_MATTERS);
        matter
            .map(|e| {
                let seen = direction_of_deg(number(&e["azimuth_deg"]), number(&e["elevation_deg"]));
                let same = |l: &&Light| angle_between_rad(&seen, &l.direction).to_degrees() < SAME_LIGHT_DEG;
                truth.iter().find(same).map_or_else(|| "unknown".to_owned(), |l| l.name.clone())
            })
            .collect()
    }

    /// The shot in one line of the table.
    pub(crate) fn line(&self) -> String {
        if let Some(error) = &self.report.error {
            return format!("{:34} error: {} ({})", self.name, error.cause, error.file);
        }
        let truth = |check: &str, key: &str| number(&self.truth.error(check)[key]);
        let off = |check: &str, key: &str| self.value(check).map_or(f64::NAN, |v| v - truth(check, key));
        let colour = |key: &str| {
            let found = self.finding("colour-balance").and_then(|f| f.detail.get("overall")?[key].as_f64());
            found.unwrap_or(f64::NAN) - number(&self.truth.error("colour-balance")["overall"][key])
        };
        let verdicts: String = CHECKS.iter().map(|check| letter(self.verdict(check))).collect();
        let drift = self.value("reference-drift").map_or(f64::NAN, |v| v - self.truth.unexplained_drift_stops());
        format!(
            "{:34} {:8} {:+.3} (of {:.3}) {:+.4} {:+.4} {:+.4} {:+.4}  {verdicts} | {} {drift:+.4}",
            self.name,
            self.report.verdict.word(),
            off("highlight-direction", "value_deg"),
            self.direction_bound_deg(),
            off("key-fill-ratio", "value_stops"),
            off("exposure", "value_stops"),
            colour("red_green_stops"),
            colour("blue_green_stops"),
            letter(self.verdict("reference-drift")),
        )
    }
}

fn letter(verdict: Option<Verdict>) -> char {
    match verdict {
        Some(Verdict::Match) => 'M',
        Some(Verdict::Mismatch) => 'X',
        Some(Verdict::Unsure) => '?',
        Some(Verdict::NotGiven) | None => '-',
    }
}
