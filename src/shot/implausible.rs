//! What no lamp mends: numbers too large for light, which a file read in the wrong encoding makes, and a picture whose left
//! and right are exchanged.

use crate::compare::rotation::RotationSearch;
use crate::findings::{Action, Finding, Verdict};
use crate::image::Frame;

/// How advice begins that comes before all other.
pub(super) const BEFORE_ANY_LIGHT: &str = "before any light";

/// From this difference on a wrong encoding or layer is likelier than wrong light: a lamp or sky is hardly ever 64 times
/// too strong in a CG that somebody looked at (common practice, no source).
const IMPLAUSIBLE_STOPS: f64 = 6.0;

/// Checks whose number a wrong encoding drives out of all proportion.
const DRIVEN: [&str; 2] = ["exposure", "key-fill-ratio"];

/// Puts the likelier cause in place of all advice on light: nobody should follow any of it.
pub(super) fn suspect_encoding(findings: &mut [Finding], [mirror, cg]: [&Frame; 2]) {
    let implausible = |f: &Finding| {
        DRIVEN.contains(&f.check.as_str())
            && f.verdict >= Verdict::Unsure
            && f.value.is_some_and(|value| value.abs() > IMPLAUSIBLE_STOPS)
    };
    if !findings.iter().any(implausible) {
        return;
    }
    let read = |frame: &Frame| {
        format!("{} is read as {} (by {})", frame.record.file, frame.record.encoding, frame.record.encoding_from)
    };
    let remedy = format!(
        "{BEFORE_ANY_LIGHT}: so large a difference is more likely a wrong encoding or layer; {}, {}",
        read(mirror),
        read(cg)
    );
    before_any_light(findings, &remedy);
}

/// Without a single number that is off, only a fit as good as this says that left and right are exchanged.
const SURE_CORRELATION: f64 = 0.93;

/// A CG whose surroundings are exchanged or stand on their head is not mended light by light, and what single numbers then say follows
/// from that.
pub(super) fn suspect_flop(findings: &mut [Finding], search: Option<&RotationSearch>) {
    let Some(search) = search else { return };
    let off = findings.iter().any(|f| f.verdict == Verdict::Mismatch);
    let exchanged = search.exchanged().filter(|f| off || f.correlation >= SURE_CORRELATION);
    let (what, cure) = match exchanged {
        Some(flopped) if flopped.is_top_to_bottom() => {
            ("with top and bottom swapped", "mirror the picture or the environment back")
        }
        Some(_) => ("with left and right swapped", "flop the picture or the environment back"),
        None if off && search.is_upside_down() => ("upside down", "turn the picture or the environment back"),
        None => return,
    };
    let seen = format!("the CG shows the photograph's surroundings {what}");
    for finding in findings.iter_mut().filter(|f| f.verdict >= Verdict::Unsure) {
        if finding.check == "environment-rotation" {
            finding.verdict = Verdict::Mismatch;
            seen.clone_into(&mut finding.reason);
        } else if finding.check == "highlight-direction" {
            seen.clone_into(&mut finding.reason);
        } else {
            finding.verdict = Verdict::Unsure;
            finding.reason = format!("{seen}, and this follows from it");
        }
    }
    before_any_light(findings, &format!("{BEFORE_ANY_LIGHT}: {seen}; {cure}"));
}

/// A gain cannot mend a colour space that was taken for want of a better one.
pub(super) fn untold_space(findings: &mut [Finding], cg: &Frame) {
    if cg.record.colour_space_from != "default" {
        return;
    }
    for finding in findings.iter_mut().filter(|f| f.check == "colour-balance" && f.verdict == Verdict::Mismatch) {
        finding.action = None;
        finding.remedy = format!(
            "{} (but {} does not say its colour space, and {} is assumed: settle that first)",
            finding.remedy, cg.record.file, cg.record.colour_space
        );
    }
}

/// A tinted sphere whose reflectance nobody told looks like a CG of the wrong colour.
pub(super) fn untold_tint(findings: &mut [Finding], reflectance_is_told: bool) {
    if reflectance_is_told {
        return;
    }
    let is_of_colour = |f: &&mut Finding| f.check == "colour-balance" && !f.remedy.starts_with(BEFORE_ANY_LIGHT);
    for finding in findings.iter_mut().filter(is_of_colour).filter(|f| f.verdict == Verdict::Mismatch) {
        finding.action = Some(Action::Give);
        finding.remedy = format!(
            "first give the sphere's reflectance, R, G and B: a tinted sphere looks like this; if it is neutral, {}",
            finding.remedy
        );
    }
}

pub(super) fn before_any_light(findings: &mut [Finding], remedy: &str) {
    for finding in findings.iter_mut().filter(|f| f.verdict >= Verdict::Unsure) {
        remedy.clone_into(&mut finding.remedy);
        finding.action = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;
    use crate::image::Size;

    #[test]
    fn advice_on_light_gives_way_to_the_likelier_cause() {
        let frame = |name: &str| Frame::computed(name, Size { width: 1, height: 1 }, vec![[0.0; 3]]);
        let (mirror, cg) = (frame("sphere.exr"), frame("cg.exr"));
        let mut findings = sample::mismatch().findings;
        let before = findings.clone();
        suspect_encoding(&mut findings, [&mirror, &cg]);
        assert_eq!(findings, before);
        let exposure = findings.iter().position(|f| f.check == "exposure").unwrap();
        findings[exposure].value = Some(10.12);
        suspect_encoding(&mut findings, [&mirror, &cg]);
        assert!(findings[exposure].remedy.contains("sphere.exr is read as scene-linear (by default)"));
        assert_eq!(findings[0].remedy, findings[exposure].remedy, "no key is turned by such a picture");
    }
}
