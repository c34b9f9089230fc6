//! The sections of the text report below its first lines; a section with nothing to say is left out.

use serde_json::{Map, Value};

use super::{Page, cell, clip, finding_colour, set_faults, worst_first};
use crate::findings::detail;
use crate::findings::numbers::{fixed, number_words};
use crate::findings::{Finding, InputRecord, LightReport, Report, SphereReport, SphereRole, Verdict};
use crate::printable_text;
use crate::report::wording::{bound_sign, is_set_problem, prose, tolerance_words, value_words, verdict_words};

/// Digits of a content hash shown; the JSON report has all of them.
const HASH_DIGITS: usize = 16;

/// Lights listed for a sphere; the JSON report has all of them.
const LIGHTS_SHOWN: usize = 12;

/// Units of details worth a line in the text report.
const DETAIL_UNITS: [&str; 6] = ["deg", "stops", "mired", "px", "mm", "percent"];

/// Puts what belongs to a finding under its check's name.
const FINDING_INDENT: &str = "              ";

/// Why the shot could not be done.
pub(super) fn error(page: &mut Page, report: &Report) {
    let Some(error) = &report.error else { return };
    page.heading("COULD NOT BE DONE");
    page.paragraph("  file    ", &printable_text(&error.file));
    page.paragraph("  cause   ", &prose(&error.cause));
    page.paragraph("  remedy  ", &prose(&error.remedy));
    // Each on a line of its own, to be pasted whole.
    error.candidates.iter().for_each(|option| page.line(&format!("          {}", printable_text(option))));
}

/// What is wrong with the material from set comes before what it may say about the CG.
pub(super) fn reference_failures(page: &mut Page, report: &Report) {
    let failed = set_faults(report);
    if failed.is_empty() {
        return;
    }
    page.heading(match failed.iter().filter(|finding| is_set_problem(finding)).count() {
        0 => "WARNING: THE CG SPHERE STANDS ELSEWHERE",
        1 => "ON-SET PROBLEM",
        _ => "ON-SET PROBLEMS",
    });
    for finding in failed {
        let measured =
            format!("{} {} (tolerance {})", page.named(finding), value_words(finding), tolerance_words(finding));
        page.paragraph("  ! ", &measured);
        for text in [&finding.reason, &finding.remedy].into_iter().filter(|text| !text.is_empty()) {
            page.paragraph("    ", &prose(text));
        }
    }
}

/// Remedies for the CG, worst first; waived findings ask for nothing.
pub(super) fn what_to_do(page: &mut Page, report: &Report) {
    let asks = |f: &&Finding| {
        f.concerns != "reference"
            && f.waived.is_none()
            && !f.detail.contains_key(detail::SAID_BY_OTHERS)
            && f.verdict >= Verdict::Unsure
            && !f.remedy.is_empty()
    };
    let mut asking: Vec<_> = worst_first(report).into_iter().filter(asks).collect();
    // What waits for another check comes after all that does not.
    asking.sort_by_key(|f| f.detail.contains_key(detail::AFTER));
    if asking.is_empty() {
        return;
    }
    match &report.sequence {
        Some(sequence) => page.heading(&format!("WHAT TO DO AT FRAME {} (see OVER TIME)", sequence.worst_frame)),
        None => page.heading("WHAT TO DO"),
    }
    let steps = steps(&asking);
    for (index, step) in steps.iter().filter(|step| turned_instead(step[0], &asking).is_none()).enumerate() {
        let said = advice(page, step);
        page.paragraph(&format!("{:>3}. ", index + 1), &said);
        for other in steps.iter().filter(|other| turned_instead(other[0], &asking) == Some(step[0])) {
            let said = format!("or, where only the key is wrong, instead: {}", advice(page, other));
            page.paragraph("     ", &said);
        }
    }
}

/// Findings that ask for the same are one step; in the order of the first of each.
fn steps<'a>(asking: &[&'a Finding]) -> Vec<Vec<&'a Finding>> {
    let mut steps: Vec<Vec<&Finding>> = Vec::new();
    for finding in asking {
        match steps.iter_mut().find(|step| step[0].remedy == finding.remedy) {
            Some(step) => step.push(finding),
            None => steps.push(vec![finding]),
        }
    }
    steps
}

/// What a step asks for, and which checks ask.
fn advice(page: &Page, step: &[&Finding]) -> String {
    let doubt = if step.iter().all(|f| f.verdict == Verdict::Unsure) { "unsure, " } else { "" };
    let names: Vec<String> = step.iter().map(|f| page.named(f)).collect();
    let frame = step[0].detail.get(detail::FRAME).map(|frame| format!("at frame {frame}: ")).unwrap_or_default();
    format!("{frame}{} [{doubt}{}]", prose(&step[0].remedy), names.join(", "))
}

/// The turn of the whole environment that mends what this finding would mend by turning the key: doing both would turn
/// twice. `None` where both ask for the same anyway.
pub(crate) fn turned_instead<'a>(finding: &Finding, all: &[&'a Finding]) -> Option<&'a Finding> {
    let turned = |f: &&&Finding| {
        f.check == "rotation" && f.verdict == Verdict::Mismatch && f.mirror == finding.mirror && !f.remedy.is_empty()
    };
    let turns_key = finding.check == "highlight-direction" && finding.verdict == Verdict::Mismatch;
    all.iter().find(turned).copied().filter(|turn| turns_key && turn.remedy != finding.remedy)
}

/// Every check with its number, the undecided ones with the reason.
pub(super) fn findings(page: &mut Page, report: &Report) {
    let (not_given, made): (Vec<_>, Vec<_>) =
        worst_first(report).into_iter().partition(|f| f.verdict == Verdict::NotGiven);
    if report.findings.is_empty() {
        return;
    }
    page.heading("FINDINGS (CG minus plate side, +/- 1 standard deviation)");
    if !made.is_empty() {
        page.line("  verdict     check                       measured                  tolerance");
    }
    for finding in made {
        finding_row(page, finding);
    }
    if !not_given.is_empty() {
        let names: Vec<_> = not_given.into_iter().map(|f| page.named(f)).collect();
        page.paragraph("  not given: ", &names.join(", "));
    }
}

fn finding_row(page: &mut Page, finding: &Finding) {
    let verdict = page.painted(&cell(verdict_words(finding), 11), finding_colour(finding));
    let measured = cell(&value_words(finding).replace("x tolerance", "x tol."), 25);
    let tolerance = clip(&tolerance_words(finding), 12);
    page.line(&format!("  {verdict} {} {measured} {tolerance}", cell(&page.named(finding), 27)));
    if finding.verdict >= Verdict::Unsure {
        let detail = detail_words(&finding.detail);
        if !detail.is_empty() {
            page.paragraph(FINDING_INDENT, &detail);
        }
        if !finding.reason.is_empty() {
            page.paragraph(FINDING_INDENT, &prose(&finding.reason));
        }
    }
    if let Some(told) = finding.detail.get(detail::TOLD).and_then(Value::as_str) {
        page.paragraph(FINDING_INDENT, &prose(told));
    }
    if let Some(waiver) = &finding.waived {
        page.paragraph(FINDING_INDENT, &waiver_words(waiver));
    }
}

/// The plain numbers among a finding's details, by the unit at the end of their names.
fn detail_words(detail: &Map<String, Value>) -> String {
    let words = |(key, value): (&String, &Value)| {
        let (name, unit) = key.rsplit_once('_').filter(|(_, unit)| DETAIL_UNITS.contains(unit))?;
        let sd = detail.get(&format!("{key}_sd")).and_then(Value::as_f64);
        let number = number_words(value.as_f64()?, sd, unit, true);
        Some(format!("{} {number} {unit}", printable_text(&name.replace('_', " "))))
    };
    detail.iter().filter_map(words).collect::<Vec<_>>().join(", ")
}

/// Who waived it, until when and why.
fn waiver_words(waiver: &Value) -> String {
    let part = |key: &str, before: &str| {
        waiver.get(key).and_then(Value::as_str).map(|text| format!("{before}{}", prose(text))).unwrap_or_default()
    };
    format!("waived{}{}{}", part("by", " by "), part("until", " until "), part("why", ": "))
}

/// The lights of every sphere, mirror before CG.
pub(super) fn lights(page: &mut Page, report: &Report) {
    if report.spheres.is_empty() {
        return;
    }
    page.heading("LIGHTS (azimuth 0 = from camera, +90 = frame right, 180 = behind; + = above)");
    for sphere in &report.spheres {
        sphere_lines(page, sphere);
    }
}

fn sphere_lines(page: &mut Page, sphere: &SphereReport) {
    let side = match sphere.role {
        SphereRole::Mirror => "mirror",
        SphereRole::Cg => "CG",
    };
    let name = format!("  {side} {}", printable_text(&sphere.name));
    page.line(&format!("{} azimuth  elev.  +/-    radius    share   colour", cell(&name, 18)));
    for (index, light) in sphere.lights.iter().take(LIGHTS_SHOWN).enumerate() {
        page.line(&light_row(index, light, sphere.no_single_key));
    }
    if sphere.lights.len() > LIGHTS_SHOWN {
        page.line(&format!("    and {} weaker ones", sphere.lights.len() - LIGHTS_SHOWN));
    }
    if sphere.lights.is_empty() {
        page.line("    no light stands out");
    }
    if sphere.no_single_key {
        page.line("    no single key: two or more lights are within 1/3 stop of the brightest");
    }
    page.paragraph("    ", &sphere_words(sphere));
}

fn light_row(index: usize, light: &LightReport, no_single_key: bool) -> String {
    let key = if index == 0 && !no_single_key { "key" } else { "" };
    let clipped = if light.clipped { "clipped" } else { "" };
    let radius = light.angular_radius_deg.map_or_else(|| "-".to_owned(), |r| fixed(r, 1, false) + " deg");
    let row = format!(
        "  {:>3} {key:<4}{clipped:<8}{:>8} {:>6} {:>5} {radius:>9} {:>7}   {}",
        index + 1,
        fixed(light.azimuth_deg, 1, true),
        fixed(light.elevation_deg, 1, true),
        fixed(light.direction_sd_deg, 1, false),
        format!("{}{} %", if light.clipped { ">=" } else { "" }, fixed(light.share * 100.0, 0, false)),
        colour_words(light),
    );
    clip(&row, 80)
}

fn colour_words(light: &LightReport) -> String {
    match (light.cct_kelvin, light.duv) {
        (Some(kelvin), Some(duv)) => format!("{} K, Duv {}", fixed(kelvin, 0, false), fixed(duv, 4, true)),
        (Some(kelvin), None) => format!("{} K", fixed(kelvin, 0, false)),
        _ if light.clipped => "colour not held".to_owned(),
        _ => prose(light.colour_reason.as_deref().unwrap_or("-")),
    }
}

/// Key/fill ratio and how well the sphere was seen.
fn sphere_words(sphere: &SphereReport) -> String {
    let mut words = Vec::new();
    if let Some(ratio) = sphere.key_fill_ratio {
        let sign = bound_sign(sphere.key_fill_ratio_bound.as_deref());
        let stops = sphere.key_fill_stops.map_or_else(String::new, |stops| {
            format!(" ({} stops)", number_words(stops, sphere.key_fill_stops_sd, "stops", false))
        });
        words.push(format!("key/fill {sign}{}:1{stops}", fixed(ratio, 1, false)));
    }
    let [x, y, a, ..] = sphere.outline_px;
    let place = format!("{}, {}", fixed(x, 1, false), fixed(y, 1, false));
    words.push(format!("outline by {}, radius {} px at {place}", prose(&sphere.found_by), fixed(a, 1, false)));
    let parts = [
        (sphere.clipped_fraction, "clipped"),
        (sphere.invalid_fraction, "NaN or Inf"),
        (sphere.ignored_fraction, "ignored"),
    ];
    for (fraction, what) in parts {
        if fraction > 0.0 {
            words.push(format!("{} % of it {what}", percent(fraction)));
        }
    }
    if sphere.horizontal_fov_deg > 0.0 {
        let from = prose(&sphere.horizontal_fov_from);
        words.push(format!("field of view {} deg ({from})", fixed(sphere.horizontal_fov_deg, 1, false)));
    }
    words.join("; ")
}

/// A fraction in percent, short but never rounded to nothing.
fn percent(fraction: f64) -> String {
    let percent = fraction * 100.0;
    if percent < 0.1 { "< 0.1".to_owned() } else { fixed(percent, 1, false) }
}

/// Conventions and assumptions under which the numbers hold.
pub(super) fn conventions(page: &mut Page, report: &Report) {
    bullets(page, "CONVENTIONS AND ASSUMPTIONS", &report.assumptions);
}

/// Things the reader should know, and sheet keys that had no effect.
pub(super) fn warnings(page: &mut Page, report: &Report) {
    bullets(page, "WARNINGS", &report.warnings);
    bullets(page, "IN THE SHEET BUT NOT USED BY THIS VERSION", &report.not_used);
    let program = format!("{} {}", report.tool.name, report.tool.version);
    page.line("");
    page.line(&clip(&printable_text(&program), 80));
}

fn bullets(page: &mut Page, heading: &str, texts: &[String]) {
    if texts.is_empty() {
        return;
    }
    page.heading(heading);
    for text in texts {
        page.paragraph("  - ", &prose(text));
    }
}

/// Every file read, and where each belief about it came from.
pub(super) fn inputs(page: &mut Page, report: &Report) {
    if report.inputs.is_empty() {
        return;
    }
    page.heading("INPUTS (in brackets: where the belief came from)");
    for input in &report.inputs {
        page.paragraph(&format!("  {} ", cell(&printable_text(&input.role), 14)), &printable_text(&input.file));
        page.paragraph("                 ", &input_words(input));
    }
}

fn input_words(input: &InputRecord) -> String {
    let mut words = vec![format!("{} x {} px", input.width, input.height)];
    if let Some(layer) = &input.layer {
        words.push(format!("layer {}", printable_text(layer)));
    }
    let belief = |what: &str, from: &str| format!("{} ({})", printable_text(what), printable_text(from));
    words.push(belief(&input.encoding, &input.encoding_from));
    words.push(belief(&input.colour_space, &input.colour_space_from));
    if input.decoded_fraction < 1.0 {
        words.push(format!("{:.1} % of it decoded", input.decoded_fraction * 100.0));
    }
    if input.masked_pixels > 0 {
        words.push(format!("{} NaN or Inf pixels masked", input.masked_pixels));
    }
    let hash: String = printable_text(&input.blake3).chars().take(HASH_DIGITS).collect();
    words.push(format!("blake3 {hash}"));
    words.join(", ")
}
