//! The sections of the text report below its first lines; a section with nothing to say is left out.

use serde_json::{Map, Value};
use textwrap::core::display_width;

use super::{Page, cell, clip, finding_colour};
use crate::findings::detail;
use crate::findings::numbers::{fixed, number_words};
use crate::findings::{Finding, InputRecord, LightReport, Report, SphereReport, SphereRole, Verdict};
use crate::printable_text;
use crate::report::amiss::{amiss_words, number_behind, unpaired_light_words};
use crate::report::order::{asking, set_faults, steps, turned_instead, worst_first};
use crate::report::wording::{bound_sign, decisive_reason, prose, tolerance_words, value_words, verdict_words};

/// Lights listed for a sphere; the JSON report has all of them.
const LIGHTS_SHOWN: usize = 12;

/// Details worth a line, by the name of the number in the JSON report.
const DETAILS: [(&str, &str); 16] = [
    ("surroundings_stops", "surroundings"),
    ("illuminance_stops", "light on a subject"),
    ("key_stops", "key"),
    ("fill_stops", "fill"),
    ("mirror_key_fill_stops", "photographed key/fill"),
    ("cg_key_fill_stops", "CG key/fill"),
    ("measured_stops", "measured"),
    ("red_green_stops", "red"),
    ("blue_green_stops", "blue"),
    ("level_stops", "level"),
    ("corner_pull_percent", "corner pull"),
    ("shift_x_px", "to the right"),
    ("shift_y_px", "down"),
    ("edge_error_px", "at the frame's edge"),
    ("light_distance_mm", "distance of the light"),
    ("focal_length_error_mm", "focal length"),
];

/// Colour of a light this far from the Planckian locus is worth telling; common practice, no source.
const TELLING_DUV: f64 = 0.003;

/// Puts what belongs to a finding under its check's name.
const FINDING_INDENT: &str = "              ";

/// Widest column for the checks' names.
const WIDEST_NAME: usize = 27;

/// Why the shot could not be done.
pub(super) fn error(page: &mut Page, report: &Report) {
    let Some(error) = &report.error else { return };
    page.heading("NOT CHECKED");
    page.paragraph("  file    ", &printable_text(&error.file));
    page.paragraph("  cause   ", &prose(&error.cause));
    page.paragraph("  fix     ", &prose(&error.remedy));
    // Each on a line of its own, to be pasted whole.
    error.candidates.iter().for_each(|option| page.line(&format!("          {}", printable_text(option))));
}

/// What is wrong with the material from set, each with what to do about it.
pub(super) fn on_set_problems(page: &mut Page, report: &Report) {
    let failed = set_faults(report);
    if failed.is_empty() {
        return;
    }
    page.heading(if failed.len() == 1 { "ON-SET PROBLEM" } else { "ON-SET PROBLEMS" });
    for finding in failed {
        let number = number_behind(finding).map(|number| format!(" ({number})")).unwrap_or_default();
        page.paragraph("  ! ", &format!("{}: {}{number}", page.named(finding), amiss_words(finding)));
        if !finding.remedy.is_empty() {
            page.paragraph("    fix: ", &prose(&finding.remedy.words()));
        }
    }
}

/// All fixes for the CG, worst first, where the head does not tell them all, or not the whole of them.
pub(super) fn what_to_do(page: &mut Page, report: &Report, shown: usize) {
    let steps = steps(report);
    let all: Vec<&Finding> = steps.iter().map(|step| step[0]).chain(alternatives(report)).collect();
    let is_told = |step: &Vec<&Finding>| step[0].remedy.short() == step[0].remedy.words();
    if steps.len() <= shown && steps.iter().all(is_told) && all.len() == steps.len() {
        return;
    }
    match &report.sequence {
        Some(sequence) => page.heading(&format!("WHAT TO DO AT FRAME {} (see OVER TIME)", sequence.worst_frame)),
        None => page.heading("WHAT TO DO"),
    }
    for (index, step) in steps.iter().enumerate() {
        let said = advice(page, step);
        page.paragraph(&format!("{:>3}. ", index + 1), &said);
        for other in alternatives(report).filter(|other| turned_instead(other, &all) == Some(step[0])) {
            let said = format!("if only the key is wrong, instead: {}", advice(page, &[other]));
            page.paragraph("     ", &said);
        }
    }
}

/// Turns of the key alone, each instead of a turn of the whole environment.
fn alternatives(report: &Report) -> impl Iterator<Item = &Finding> {
    let all = asking(report);
    let instead = |f: &&Finding| turned_instead(f, &all).is_some();
    all.iter().copied().filter(instead).collect::<Vec<_>>().into_iter()
}

/// What a step asks for, and which checks ask.
fn advice(page: &Page, step: &[&Finding]) -> String {
    let uncertainty = if step.iter().all(|f| f.verdict == Verdict::Unsure) { "unsure, " } else { "" };
    let names: Vec<String> = step.iter().map(|f| page.named(f)).collect();
    let frame = step[0].detail.get(detail::FRAME).map(|frame| format!("at frame {frame}: ")).unwrap_or_default();
    format!("{frame}{} [{uncertainty}{}]", prose(&step[0].remedy.words()), names.join(", "))
}

/// Every check: what is off in words, what is open with the reason, what agrees with its number.
pub(super) fn findings(page: &mut Page, report: &Report) {
    let (not_given, made): (Vec<_>, Vec<_>) =
        worst_first(report).into_iter().partition(|f| f.verdict == Verdict::NotGiven);
    if report.findings.is_empty() {
        return;
    }
    page.heading("FINDINGS (CG minus photographed; +/- the uncertainty, 1 sd; [the tolerance])");
    let width = made.iter().map(|f| display_width(&page.named(f))).max().unwrap_or(0).min(WIDEST_NAME);
    for finding in made {
        finding_row(page, finding, width);
    }
    if !not_given.is_empty() {
        let told: Vec<&str> = not_given.iter().filter_map(|f| told(f)).collect();
        let names: Vec<_> = not_given.into_iter().map(|f| page.named(f)).collect();
        page.paragraph("  not given: ", &names.join(", "));
        for text in told {
            page.paragraph(FINDING_INDENT, &prose(text));
        }
    }
}

fn finding_row(page: &mut Page, finding: &Finding, width: usize) {
    let is_off = finding.verdict == Verdict::Mismatch && finding.waived.is_none();
    let words = if is_off { fault_words(finding) } else { number_and_tolerance(finding) };
    let verdict = cell(verdict_words(finding), 11);
    let start = format!("  {verdict} {}  ", cell(&page.named(finding), width));
    let row = Page::wrapped_row(&start, &words);
    let painted = page.painted(&verdict, finding_colour(finding));
    page.line(&row[0].replacen(&verdict, &painted, 1));
    page.lines(&row[1..]);
    if finding.verdict >= Verdict::Unsure {
        let number = number_behind(finding).filter(|_| is_off);
        let numbers: Vec<String> = number.into_iter().chain(detail_words(&finding.detail)).collect();
        page.paragraph(FINDING_INDENT, &numbers.join("; "));
        let unsaid: Vec<&str> = finding.reason.split("; ").filter(|clause| prose(clause) != words).collect();
        page.paragraph(FINDING_INDENT, &prose(&unsaid.join("; ")));
    }
    page.paragraph(FINDING_INDENT, &prose(told(finding).unwrap_or_default()));
    if let Some(waiver) = &finding.waived {
        page.paragraph(FINDING_INDENT, &waiver_words(waiver));
    }
}

/// What is wrong; of a light that only one side has, with its place.
fn fault_words(finding: &Finding) -> String {
    let placed = decisive_reason(finding).filter(|_| unpaired_light_words(finding).is_some());
    placed.map_or_else(|| amiss_words(finding), prose)
}

/// What is said beside the number whatever the verdict.
fn told(finding: &Finding) -> Option<&str> {
    finding.detail.get(detail::TOLD).and_then(Value::as_str)
}

fn number_and_tolerance(finding: &Finding) -> String {
    let value = value_words(finding);
    match tolerance_words(finding).as_str() {
        "-" => value,
        tolerance => format!("{} [{tolerance}]", cell(&value, display_width(&value).max(20))),
    }
}

/// The numbers among a finding's details that help, with plain names; what shows as zero is left out.
fn detail_words(detail: &Map<String, Value>) -> Option<String> {
    let words = |(key, name): &(&str, &str)| {
        let number = detail.get(*key).and_then(Value::as_f64)?;
        let (_, unit) = key.rsplit_once('_')?;
        let sd = detail.get(&format!("{key}_sd")).and_then(Value::as_f64);
        let is_size = unit == "mm" && *key != "focal_length_error_mm" || key.ends_with("key_fill_stops");
        let said = number_words(number, sd, unit, !is_size);
        let shows = said.split(" +/-").next()?.bytes().any(|b| (b'1'..=b'9').contains(&b));
        shows.then(|| format!("{name} {said} {}", if unit == "percent" { "%" } else { unit }))
    };
    let words: Vec<String> = DETAILS.iter().filter_map(words).collect();
    (!words.is_empty()).then(|| words.join(", "))
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

fn side_name(sphere: &SphereReport) -> &'static str {
    match sphere.role {
        SphereRole::Mirror => "photographed",
        SphereRole::Cg => "CG",
    }
}

fn sphere_lines(page: &mut Page, sphere: &SphereReport) {
    let name = format!("  {} {}", side_name(sphere), printable_text(&sphere.name));
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
        page.line("    no clear key: two or more lights are within 1/3 stop of the brightest");
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
        uncertainty_words(light.direction_sd_deg),
        format!("{}{} %", if light.clipped { ">=" } else { "" }, fixed(light.share * 100.0, 0, false)),
        colour_words(light),
    );
    clip(&row, 80)
}

/// An uncertainty to one decimal; what rounds to zero there is not zero.
fn uncertainty_words(deg: f64) -> String {
    match fixed(deg, 1, false).as_str() {
        "0.0" if deg > 0.0 => "<0.1".to_owned(),
        words => words.to_owned(),
    }
}

fn colour_words(light: &LightReport) -> String {
    match (light.cct_kelvin, light.duv.filter(|duv| duv.abs() >= TELLING_DUV)) {
        (Some(kelvin), Some(duv)) => format!("{} K, Duv {}", fixed(kelvin, 0, false), fixed(duv, 3, true)),
        (Some(kelvin), None) => format!("{} K", fixed(kelvin, 0, false)),
        _ if light.clipped => "not known: clipped".to_owned(),
        _ => prose(light.colour_reason.as_deref().unwrap_or("-")),
    }
}

/// Key/fill ratio, and what of the sphere does not count.
fn sphere_words(sphere: &SphereReport) -> String {
    let mut words = Vec::new();
    if let Some(ratio) = sphere.key_fill_ratio {
        let sign = bound_sign(sphere.key_fill_ratio_bound.as_deref());
        let stops = sphere.key_fill_stops.map_or_else(String::new, |stops| {
            format!(" ({} stops)", number_words(stops, sphere.key_fill_stops_sd, "stops", false))
        });
        words.push(format!("key/fill {sign}{}:1{stops}", fixed(ratio, 1, false)));
    }
    let parts = [
        (sphere.clipped_fraction, "clipped"),
        (sphere.invalid_fraction, "NaN or Inf"),
        (sphere.ignored_fraction, "ignored"),
    ];
    for (fraction, what) in parts {
        if fraction > 0.0 {
            words.push(format!("{} % of the sphere {what}", percent(fraction)));
        }
    }
    words.join("; ")
}

/// Where the sphere is in its frame, and through which lens it was taken to be seen.
fn outline_words(sphere: &SphereReport) -> String {
    let [x, y, a, ..] = sphere.outline_px;
    let place = format!("{}, {}", fixed(x, 1, false), fixed(y, 1, false));
    let outline = format!("outline by {}, radius {} px at {place}", prose(&sphere.found_by), fixed(a, 1, false));
    if sphere.horizontal_fov_deg > 0.0 {
        let from = prose(&sphere.horizontal_fov_from);
        return format!("{outline}; field of view {} deg ({from})", fixed(sphere.horizontal_fov_deg, 1, false));
    }
    outline
}

/// A fraction in percent, short but never rounded to nothing.
fn percent(fraction: f64) -> String {
    let percent = fraction * 100.0;
    if percent < 0.1 { "< 0.1".to_owned() } else { fixed(percent, 1, false) }
}

/// Outlines, conventions, assumptions and files: nobody needs them to mend a shot.
pub(super) fn how_it_was_measured(page: &mut Page, report: &Report) {
    if !report.spheres.is_empty() || !report.assumptions.is_empty() {
        page.heading("HOW IT WAS MEASURED");
    }
    for sphere in &report.spheres {
        let first = format!("{} {}", side_name(sphere), printable_text(&sphere.name));
        page.paragraph("  - ", &format!("{first}: {}", outline_words(sphere)));
    }
    for text in &report.assumptions {
        page.paragraph("  - ", &prose(text));
    }
    inputs(page, report);
    let program = format!("{} {}", report.tool.name, report.tool.version);
    page.line("");
    page.line(&clip(&printable_text(&program), 80));
}

/// Things the reader should know, and sheet keys that had no effect.
pub(super) fn warnings(page: &mut Page, report: &Report) {
    bullets(page, "WARNINGS", &report.warnings);
    bullets(page, "IN THE SHEET BUT NOT USED BY THIS VERSION", &report.not_used);
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
fn inputs(page: &mut Page, report: &Report) {
    if report.inputs.is_empty() {
        return;
    }
    page.heading("FILES (source in brackets)");
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
    words.join(", ")
}
