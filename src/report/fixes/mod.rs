//! What a report asks for, as files that other programs read: one gain for the CG as an ASC CDL, and all of it as JSON.

mod cdl;
mod gain;

use serde_json::{Value, json};

use super::marks::FIXES_FORMAT;
use super::report_stem;
use crate::findings::{Attachment, Finding, REPORT_FORMAT, Report, ShotVerdict, ToolNote, Verdict};
use gain::{Correction, correction};

/// What follows the shot's name and version in the names of the two files.
const CDL_ENDING: &str = "fix.cc";
const JSON_ENDING: &str = "fixes.json";

/// The space in which a slope holds, in words for whoever applies it.
const WORKING_SPACE: &str = "scene-linear light, BT.709 primaries, D65 white";

/// The fixes of a report as files beside it; none for a shot that could not be done. Where no one gain mends the CG
/// there is no CDL, and the JSON says why.
pub(crate) fn files(report: &Report) -> Vec<Attachment> {
    if report.verdict == ShotVerdict::Error {
        return Vec::new();
    }
    let stem = report_stem(&report.shot, report.version.as_deref());
    let correction = correction(&report.findings);
    let mut files = Vec::new();
    if let Ok(correction) = &correction {
        let text = cdl::colour_correction(&stem, correction.slope_rgb, &descriptions(report, correction));
        files.push(Attachment { ending: CDL_ENDING.to_owned(), bytes: text.into_bytes() });
    }
    let text = serde_json::to_string_pretty(&document(report, &stem, &correction)).unwrap_or_default() + "\n";
    files.push(Attachment { ending: JSON_ENDING.to_owned(), bytes: text.into_bytes() });
    files
}

fn descriptions(report: &Report, correction: &Correction) -> Vec<String> {
    let mut lines = vec![
        format!("Multiplies the CG by what plateproof {} found it to be off.", ToolNote::current().version),
        format!("Working space: {WORKING_SPACE}. Apply before any display transform, and without clamping."),
        correction.words(),
    ];
    if let Some(space) = other_space(report) {
        lines.push(format!("The CG is in {space}: convert it to the working space first, and back afterwards."));
    }
    if let Some(sequence) = &report.sequence {
        lines.push(format!("Measured on frame {}, the worst of a moving shot.", sequence.worst_frame));
    }
    lines
}

/// The colour space of the CG where it is not the working space.
fn other_space(report: &Report) -> Option<&str> {
    let cg = report.inputs.iter().filter(|input| input.role.starts_with("cg"));
    cg.map(|input| &*input.colour_space).find(|space| *space != "rec709")
}

fn document(report: &Report, stem: &str, correction: &Result<Correction, String>) -> Value {
    let mut document = json!({
        "format": FIXES_FORMAT,
        "tool": report.tool,
        "report": format!("{stem}.report.json"),
        "report_format": REPORT_FORMAT,
        "shot": report.shot,
        "version": report.version,
        "verdict": report.verdict,
    });
    match correction {
        Ok(correction) => {
            document["colour_correction"] = json!({
                "file": format!("{stem}.{CDL_ENDING}"),
                "slope_rgb": correction.slope_rgb,
                "working_space": WORKING_SPACE,
                "correction_exposure_stops": correction.exposure_stops,
                "channel_gain_rgb": correction.channel_gain_rgb,
                "undoes": correction.words(),
            });
        }
        Err(reason) => document["no_colour_correction"] = json!(reason),
    }
    let asking = report.findings.iter().filter(|finding| asks(finding));
    document["actions"] = asking.map(action).collect();
    document
}

/// Something is off that nobody waived.
fn asks(finding: &Finding) -> bool {
    finding.verdict == Verdict::Mismatch && finding.waived.is_none() && !finding.remedy.is_empty()
}

/// What one finding asks for. A typed remedy is carried along as the report has it.
fn action(finding: &Finding) -> Value {
    let whole = serde_json::to_value(finding).unwrap_or_default();
    let keys = ["check", "concerns", "mirror", "value", "value_sd", "unit", "remedy", "action"];
    keys.iter().filter_map(|key| Some(((*key).to_owned(), whole.get(*key)?.clone()))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::{CheckId, sample};

    fn json_of(report: &Report) -> Value {
        let file = files(report).into_iter().find(|file| file.ending == JSON_ENDING).unwrap();
        serde_json::from_slice(&file.bytes).unwrap()
    }

    #[test]
    fn every_mismatch_is_an_action_and_a_failed_shot_has_none() {
        let report = sample::mismatch();
        let document = json_of(&report);
        let asked = report.findings.iter().filter(|finding| asks(finding)).count();
        assert!(asked > 0);
        assert_eq!(document["actions"].as_array().unwrap().len(), asked);
        assert_eq!(document["format"], FIXES_FORMAT);
        let error = crate::Error::new(crate::ErrorKind::Io, "x.exr", "gone", "bring it back");
        assert!(files(&Report::failed("A", None, &error)).is_empty());
    }

    #[test]
    fn where_nothing_is_off_there_is_no_gain_and_the_reason_is_said() {
        let mut report = sample::mismatch();
        report.findings.iter_mut().for_each(|finding| finding.verdict = Verdict::Match);
        assert_eq!(files(&report).len(), 1);
        assert_eq!(json_of(&report)["no_colour_correction"], "exposure and colour of the CG are not off");
    }

    #[test]
    fn another_space_of_the_cg_is_named() {
        let mut report = sample::mismatch();
        report.findings.retain(|finding| finding.check != CheckId::Exposure && finding.check != CheckId::ColourBalance);
        let mut exposure = sample::mismatch().findings.into_iter().find(|f| f.check == CheckId::Exposure).unwrap();
        (exposure.verdict, exposure.value, exposure.value_sd) = (Verdict::Mismatch, Some(-1.0), Some(0.01));
        exposure.detail.clear();
        report.findings.push(exposure);
        report.inputs.iter_mut().for_each(|input| input.colour_space = "acescg".to_owned());
        let cdl = files(&report).into_iter().find(|file| file.ending == CDL_ENDING).unwrap();
        let text = String::from_utf8(cdl.bytes).unwrap();
        assert!(text.contains("<Slope>2 2 2</Slope>"), "{text}");
        assert!(text.contains("The CG is in acescg"), "{text}");
    }
}
