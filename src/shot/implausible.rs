//! What no lamp mends: numbers too large for light, which a file read in the wrong encoding makes, and a picture whose left
//! and right are exchanged.

use crate::compare::rotation::RotationSearch;
use crate::findings::remedy::{Condition, ReadAs, Step, Swap};
use crate::findings::{CheckId, Finding, Remedy, Verdict, is_beyond_light};
use crate::image::Frame;

/// Puts the likelier cause in place of all advice on light: nobody should follow any of it.
pub(super) fn suspect_encoding(findings: &mut [Finding], [mirror, cg]: [&Frame; 2]) {
    if !findings.iter().any(|f| f.verdict >= Verdict::Unsure && is_beyond_light(f)) {
        return;
    }
    let read = |frame: &Frame| ReadAs {
        file: frame.record.file.clone(),
        encoding: frame.record.encoding.clone(),
        from: frame.record.encoding_from.clone(),
    };
    before_any_light(findings, &Step::WrongEncoding([read(mirror), read(cg)]).into());
}

/// Without a single number that is off, only a fit as good as this says that left and right are exchanged.
const SURE_CORRELATION: f64 = 0.93;

/// A CG whose surroundings are exchanged or stand on their head is not mended light by light, and what single numbers then say follows
/// from that.
pub(super) fn suspect_flop(findings: &mut [Finding], search: Option<&RotationSearch>) {
    let Some(search) = search else { return };
    let off = findings.iter().any(|f| f.verdict == Verdict::Mismatch);
    let exchanged = search.exchanged().filter(|f| off || f.correlation >= SURE_CORRELATION);
    let swap = match exchanged {
        Some(flopped) if flopped.is_top_to_bottom() => Swap::TopAndBottom,
        Some(_) => Swap::LeftAndRight,
        None if off && search.is_upside_down() => Swap::UpsideDown,
        None => return,
    };
    let seen = swap.seen();
    for finding in findings.iter_mut().filter(|f| f.verdict >= Verdict::Unsure) {
        if finding.check == CheckId::EnvironmentRotation {
            finding.verdict = Verdict::Mismatch;
            seen.clone_into(&mut finding.reason);
        } else if finding.check == CheckId::HighlightDirection {
            seen.clone_into(&mut finding.reason);
        } else {
            finding.verdict = Verdict::Unsure;
            finding.reason = format!("{seen}, and this follows from it");
        }
    }
    before_any_light(findings, &Step::Swapped(swap).into());
}

/// A gain cannot mend a colour space that was taken for want of a better one.
pub(super) fn untold_space(findings: &mut [Finding], cg: &Frame) {
    if cg.record.colour_space_from != "default" {
        return;
    }
    for finding in findings.iter_mut().filter(|f| f.check == CheckId::ColourBalance && f.verdict == Verdict::Mismatch) {
        let (file, space) = (cg.record.file.clone(), cg.record.colour_space.clone());
        finding.remedy.hold(Condition::ColourSpaceAssumed { file, space });
    }
}

/// A tinted sphere whose reflectance nobody told looks like a CG of the wrong colour.
pub(super) fn untold_tint(findings: &mut [Finding], reflectance_is_told: bool) {
    if reflectance_is_told {
        return;
    }
    let is_of_colour = |f: &&mut Finding| f.check == CheckId::ColourBalance && !f.remedy.comes_before_light();
    for finding in findings.iter_mut().filter(is_of_colour).filter(|f| f.verdict == Verdict::Mismatch) {
        finding.remedy.hold(Condition::ReflectanceFirst);
    }
}

pub(super) fn before_any_light(findings: &mut [Finding], remedy: &Remedy) {
    for finding in findings.iter_mut().filter(|f| f.verdict >= Verdict::Unsure) {
        finding.remedy.clone_from(remedy);
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
        let exposure = findings.iter().position(|f| f.check == CheckId::Exposure).unwrap();
        findings[exposure].value = Some(10.12);
        suspect_encoding(&mut findings, [&mirror, &cg]);
        assert!(findings[exposure].remedy.words().contains("sphere.exr is read as scene-linear (by default)"));
        assert_eq!(findings[0].remedy, findings[exposure].remedy, "no key is turned by such a picture");
    }
}
