//! What a finding says is wrong, in the words of somebody who has to mend it.

use serde_json::Value;

use super::wording::{decisive_reason, prose, tolerance_words, value_words};
use crate::findings::numbers::fixed;
use crate::findings::remedy::layers_named;
use crate::findings::{CheckId, Concerns, Finding, Verdict, detail, is_beyond_light};
use crate::printable_text;

/// Light layers that are told of; the JSON report has all.
const LAYERS_TOLD: usize = 3;

/// Stands between an uncertain number and the reason.
pub(crate) const TOO_UNCERTAIN: &str = "is too uncertain to judge against the tolerance of";

/// What is wrong, in one clause without a full stop: `the CG is 0.64 stops too dark`. Never a number that looks right:
/// where another thing than the number decides, such as a light that is missing, that thing is named.
pub fn amiss_words(finding: &Finding) -> String {
    if let Some(reason) = decisive_reason(finding) {
        return unpaired_light_words(finding).unwrap_or_else(|| prose(reason));
    }
    known_words(finding).unwrap_or_else(|| match first_clause(&finding.reason) {
        "" => format!("{} {}", printable_text(finding.check.name()), off_by(finding)),
        reason => prose(reason),
    })
}

/// What keeps a doubtful finding from being decided.
pub fn doubt_words(finding: &Finding) -> String {
    let after = finding.reason.split_once(TOO_UNCERTAIN).and_then(|(_, rest)| rest.split_once(": "));
    prose(after.map_or(finding.reason.as_str(), |(_, why)| why))
}

/// A light that one side has and the other has not.
pub(crate) fn unpaired_light_words(finding: &Finding) -> Option<String> {
    let strongest = |key: &str| {
        let lights = finding.detail.get(key).and_then(Value::as_array)?;
        let shares = lights.iter().filter_map(|light| light.get("share").and_then(Value::as_f64));
        Some((lights.len(), shares.max_by(f64::total_cmp)?))
    };
    let words = |count: usize, one: &str, several: &str, share: f64| {
        let what = if count == 1 { one.to_owned() } else { format!("{count} {several}") };
        format!("{what}: {} % of what a surface facing it receives", fixed(100.0 * share, 0, false))
    };
    let missing = strongest("missing_in_cg").map(|(n, s)| words(n, "a light is missing", "lights are missing", s));
    missing.or_else(|| strongest("extra_in_cg").map(|(n, s)| words(n, "a light too many", "lights too many", s)))
}

/// The words for the checks whose number says all.
fn known_words(finding: &Finding) -> Option<String> {
    let value = finding.value.filter(|value| value.is_finite())?;
    let size = |decimals| fixed(value.abs(), decimals, false);
    let either = |plus, minus| if value > 0.0 { plus } else { minus };
    if is_beyond_light(finding) {
        let what = if finding.check == CheckId::Exposure { "exposure" } else { "contrast" };
        return Some(format!("{what} differs by {} stops, more than light is likely to", size(0)));
    }
    Some(match finding.check {
        CheckId::HighlightDirection => key_words(finding, value),
        CheckId::KeyFillRatio => {
            format!("the CG light has {} stops too {} contrast", size(2), either("much", "little"))
        }
        CheckId::Exposure => exposure_words(finding, value),
        CheckId::ColourBalance => colour_words(finding, value),
        CheckId::EnvironmentRotation => format!("the whole environment is turned by {} deg", size(1)),
        CheckId::FieldOfView => format!("the CG camera's view is {} deg too {}", size(2), either("wide", "narrow")),
        CheckId::SpherePlace => place_words(finding, value),
        CheckId::LightGains => layer_words(finding).unwrap_or_else(|| {
            format!("a light layer of the CG is {} stops too {}", size(2), either("bright", "dark"))
        }),
        CheckId::LensDistortion => {
            format!("the plate has up to {} px of lens distortion that the CG lacks", size(1))
        }
        CheckId::CleanPlate => clean_plate_words(finding),
        CheckId::ReferenceDrift => {
            format!("the sphere frame is {} stops {} than the plate", size(2), either("brighter", "darker"))
        }
        CheckId::Scale => format!("noted sizes and distances contradict the picture by {} %", size(1)),
        CheckId::Sun => format!("the key is {} deg away from where the sun was", size(0)),
        CheckId::GreySphere => {
            let side = either("more", "less");
            format!("the grey sphere shows {} stops {side} contrast than the mirror sphere says", size(2))
        }
        CheckId::Environment if finding.concerns == Concerns::Reference => {
            if let Some(words) = capture_words(finding) {
                return Some(words);
            }
            let off = finding.reason.split("photographed one: ").nth(1).unwrap_or_default();
            match first_clause(off) {
                "" => return None,
                off => format!("the captured environment is off: {}", prose(off)),
            }
        }
        _ => return None,
    })
}

/// How the key is off: by the angle, and which way.
fn key_words(finding: &Finding, value: f64) -> String {
    let way = |key: &str, plus: &str, minus: &str| {
        let error = finding.detail.get(key).and_then(Value::as_f64).filter(|e| e.is_finite())?;
        let words = if error > 0.0 { plus } else { minus };
        (error.abs() >= 1.0).then(|| format!("{} deg {words}", fixed(error.abs(), 1, false)))
    };
    let ways = [
        way("azimuth_error_deg", "counter-clockwise seen from above", "clockwise seen from above"),
        way("elevation_error_deg", "too high", "too low"),
    ];
    let ways: Vec<String> = ways.into_iter().flatten().collect();
    let ways = if ways.is_empty() { String::new() } else { format!(" ({})", ways.join(", ")) };
    format!("the key light is {} deg off{ways}", fixed(value, 1, false))
}

fn exposure_words(finding: &Finding, value: f64) -> String {
    let decided = finding.detail.get(detail::DECIDED_BY).and_then(Value::as_str);
    let what = if decided == Some("what a subject receives") { "the light on a subject" } else { "the CG" };
    format!("{what} is {} stops too {}", fixed(value.abs(), 2, false), if value > 0.0 { "bright" } else { "dark" })
}

fn colour_words(finding: &Finding, value: f64) -> String {
    match warmth(finding) {
        Some((mired, _)) => {
            let side = if mired > 0.0 { "warm" } else { "cool" };
            format!("the CG is {} mired too {side}", fixed(mired.abs(), 0, false))
        }
        None => format!("the CG's colour is off by {} stops", fixed(value.abs(), 2, false)),
    }
}

/// How much too warm (+) the CG is, and the tolerance, mired, where that is outside it.
fn warmth(finding: &Finding) -> Option<(f64, f64)> {
    let tolerance = finding.detail.get("mired_tolerance").and_then(Value::as_f64);
    let overall = finding.detail.get("overall").and_then(Value::as_object);
    let mired = overall.and_then(|o| o.get("mired_error")).and_then(Value::as_f64);
    mired.zip(tolerance).filter(|(mired, tolerance)| mired.abs() > *tolerance)
}

fn place_words(finding: &Finding, value: f64) -> String {
    let places = finding.detail.get("places").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let length = |place: &Value| {
        let parts = place.get("cg_offset_mm")?.as_array()?.iter().filter_map(Value::as_f64);
        Some(parts.map(|mm| mm * mm).sum::<f64>().sqrt())
    };
    let off = fixed(value, 0, false);
    match places.iter().filter_map(length).max_by(f64::total_cmp) {
        Some(mm) => format!(
            "the CG sphere is {} mm away from where the real one was: nearby lights appear {off} deg off",
            fixed(mm, 0, false)
        ),
        None => format!("the CG sphere is not where the real one was: nearby lights appear {off} deg off"),
    }
}

fn clean_plate_words(finding: &Finding) -> String {
    let number = |key: &str| finding.detail.get(key).and_then(Value::as_f64).filter(|n| n.is_finite());
    let off = |word: &str| finding.reason.contains(word);
    let mut parts = Vec::new();
    if let Some(px) = number("misregistration_px").filter(|_| off("place")) {
        parts.push(format!("lies {}", shift_words(px, number("shift_x_px"), number("shift_y_px"))));
    }
    if let Some(stops) = number("exposure_stops").filter(|stops| off("exposure") && stops.abs() >= 0.005) {
        let side = if stops > 0.0 { "brighter" } else { "darker" };
        parts.push(format!("is {} stops {side}", fixed(stops.abs(), 2, false)));
    }
    if number("blur_px").is_some() && off("focus") {
        parts.push("is in other focus".to_owned());
    }
    if parts.is_empty() {
        parts.push(format!("is {}", prose(&finding.reason)));
    }
    format!("the clean plate {}", parts.join(" and "))
}

/// Where something lies that is off by `px`: which way, where it is a shift alone.
fn shift_words(px: f64, right_px: Option<f64>, down_px: Option<f64>) -> String {
    let along = |shift: Option<f64>, plus: &str, minus: &str| {
        let shift = shift.filter(|shift| shift.abs() >= 0.1 * px)?;
        Some(format!("{} px {}", fixed(shift.abs(), 1, false), if shift > 0.0 { plus } else { minus }))
    };
    let shifted = right_px.unwrap_or(0.0).hypot(down_px.unwrap_or(0.0));
    let ways = [along(right_px, "to the right", "to the left"), along(down_px, "down", "up")];
    let ways: Vec<String> = ways.into_iter().flatten().filter(|_| (shifted - px).abs() <= 0.1 * px).collect();
    if ways.is_empty() { format!("{} px off", fixed(px, 1, false)) } else { ways.join(", ") }
}

/// Which light layers are off, most of the light first.
fn layer_words(finding: &Finding) -> Option<String> {
    let gains = finding.detail.get("gains").and_then(Value::as_array)?;
    let mut off: Vec<(f64, f64, String)> = gains
        .iter()
        .filter_map(|gain| {
            let layers = gain.get("layers")?.as_array()?.iter().filter_map(Value::as_str);
            let layers = layers_named(&prose(&layers.collect::<Vec<_>>().join(" + ")));
            let stops = -gain.get("gain")?.as_f64()?.log2();
            (stops.abs() > finding.tolerance).then(|| (gain.get("share").and_then(Value::as_f64), stops, layers))
        })
        .map(|(share, stops, layers)| (share.unwrap_or(0.0), stops, layers))
        .collect();
    off.sort_by(|a, b| b.0.total_cmp(&a.0));
    let words = |(_, stops, layers): &(f64, f64, String)| {
        if stops.is_finite() {
            let side = if *stops > 0.0 { "bright" } else { "dark" };
            format!("{layers} is {} stops too {side}", fixed(stops.abs(), 2, false))
        } else {
            format!("{layers} should be off")
        }
    };
    let told: Vec<String> = off.iter().take(LAYERS_TOLD).map(words).collect();
    (!told.is_empty()).then(|| told.join(", "))
}

/// How the captured environment is off, by the sphere that it predicts.
fn capture_words(finding: &Finding) -> Option<String> {
    let predicted = finding.detail.get("predicted_against_photographed").and_then(Value::as_object)?;
    let off = |check: CheckId| {
        let compared = predicted.get(check.name())?;
        let is_off = compared.get("verdict").and_then(Value::as_str) == Some(Verdict::Mismatch.word());
        compared.get("value").and_then(Value::as_f64).filter(|_| is_off)
    };
    let stops = |value: f64| fixed(value.abs(), 2, false);
    let either = |value: f64, plus: &'static str, minus: &'static str| if value > 0.0 { plus } else { minus };
    let turned = off(CheckId::EnvironmentRotation);
    let parts = [
        turned.map(|deg| format!("is turned by {} deg", fixed(deg, 1, false))),
        off(CheckId::HighlightDirection)
            .filter(|_| turned.is_none())
            .map(|deg| format!("has its key {} deg off", fixed(deg, 1, false))),
        off(CheckId::Exposure).map(|v| format!("is {} stops too {}", stops(v), either(v, "bright", "dark"))),
        off(CheckId::KeyFillRatio)
            .map(|v| format!("has {} stops too {} contrast", stops(v), either(v, "much", "little"))),
        off(CheckId::ColourBalance).map(|v| format!("is off in colour by {} stops", stops(v))),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| format!("the captured environment {}", parts.join(" and ")))
}

/// The number and its tolerance where no words of our own are known.
fn off_by(finding: &Finding) -> String {
    match tolerance_words(finding).as_str() {
        "-" => value_words(finding),
        tolerance => format!("{}, tolerance {tolerance}", value_words(finding)),
    }
}

fn first_clause(text: &str) -> &str {
    text.split("; ").next().unwrap_or(text)
}

/// The number behind a fault with its tolerance, where it is the number that decides.
pub(crate) fn number_behind(finding: &Finding) -> Option<String> {
    let decides = decisive_reason(finding).is_none() && finding.value.is_some() && finding.verdict >= Verdict::Unsure;
    (decides && finding.value_sd != Some(0.0)).then(|| match warmth(finding) {
        Some((mired, tolerance)) => {
            format!("{}; {} mired, tolerance {tolerance} mired", off_by(finding), fixed(mired, 0, true))
        }
        None => off_by(finding),
    })
}

/// A finding in one line, as the picture's table shows it: what is wrong in words, else its number and tolerance.
pub fn finding_words(finding: &Finding) -> String {
    if finding.verdict == Verdict::NotGiven {
        return prose(&finding.reason);
    }
    let waived = if finding.waived.is_some() { ", waived" } else { "" };
    if finding.verdict == Verdict::Mismatch && finding.waived.is_none() {
        let number = number_behind(finding).map(|number| format!(" ({number})")).unwrap_or_default();
        return format!("{}{number}", amiss_words(finding));
    }
    let tolerance = tolerance_words(finding);
    let against = if tolerance == "-" { String::new() } else { format!(" [{tolerance}]") };
    let open = if finding.verdict == Verdict::Unsure { format!(": {}", doubt_words(finding)) } else { String::new() };
    format!("{}{against}{waived}{open}", value_words(finding))
}
