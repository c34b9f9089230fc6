//! The path-traced golden shots, for the same table.

use std::path::{Path, PathBuf};

use plateproof::findings::Finding;
use plateproof::sheet::{Tolerances, load_sheet};
use plateproof::shot::{RunOptions, check_shot};
use serde_json::Value;

use crate::made_up::judge::{CHECKS, Judged};
use crate::made_up::score::{Call, Quality, Score};

/// Every shot that has a truth and can be read.
pub(crate) fn judged() -> Vec<Judged> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced");
    let mut folders: Vec<PathBuf> = std::fs::read_dir(root)
        .map(|entries| {
            entries.filter_map(|e| e.ok().map(|e| e.path())).filter(|p| p.join("truth.json").exists()).collect()
        })
        .unwrap_or_default();
    folders.sort();
    folders.iter().filter_map(|folder| one(folder)).collect()
}

fn one(folder: &Path) -> Option<Judged> {
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json")).ok()?).ok()?;
    let report = check_shot(&load_sheet(&folder.join("shot.json")).ok()?, RunOptions::default()).report;
    let mut judged = Judged {
        scores: Vec::new(),
        calls: Vec::new(),
        refused: report.error.as_ref().map(|e| e.cause.clone()),
        helped: None,
        qualities: vec![Quality::Good],
    };
    for finding in &report.findings {
        let Some(check) = CHECKS.into_iter().find(|c| finding.check == *c) else { continue };
        judge(&mut judged, check, finding, &truth["errors_cg_minus_mirror"]);
    }
    Some(judged)
}

fn judge(judged: &mut Judged, check: &'static str, finding: &Finding, errors: &Value) {
    let entry = &errors[check];
    let decidable = !matches!(entry["expected"].as_str(), Some("unsure" | "not-mismatch"));
    judged.calls.push(Call::new(check, 0, size(check, entry), decidable, finding.verdict));
    let Some(truth) = value(check, entry).filter(|_| decidable) else { return };
    if let (Some(value), Some(sd)) = (finding.value, finding.value_sd) {
        let value = if check == "colour-balance" { value.abs() } else { value };
        judged.scores.push(Score::new(check, value, sd, truth));
    }
}

fn number(value: &Value) -> Option<f64> {
    value.as_f64()
}

fn value(check: &str, entry: &Value) -> Option<f64> {
    match check {
        "highlight-direction" => number(&entry["value_deg"]),
        "colour-balance" => largest_channel(entry),
        _ => number(&entry["value_stops"]),
    }
}

fn largest_channel(entry: &Value) -> Option<f64> {
    let channels = entry["overall"]["channel_stops"].as_array()?;
    channels.iter().filter_map(|v| v.as_f64().map(f64::abs)).max_by(f64::total_cmp)
}

/// The true error in tolerances; for several criteria the worst.
fn size(check: &str, entry: &Value) -> f64 {
    let t = Tolerances::default();
    let truth = value(check, entry).unwrap_or(0.0).abs();
    match check {
        // Every light that the golden shots leave out or add matters.
        "highlight-direction" if !unpaired_is_empty(entry) => f64::INFINITY,
        "highlight-direction" => truth / t.direction.deg,
        "key-fill-ratio" => truth / t.key_fill.stops,
        "exposure" => truth / t.exposure.stops,
        _ => {
            let mired = number(&entry["overall"]["mired_error"]).map_or(0.0, |m| m.abs() / t.colour.mired);
            (truth / t.colour.stops).max(mired)
        }
    }
}

fn unpaired_is_empty(entry: &Value) -> bool {
    ["missing_in_cg", "extra_in_cg"].iter().all(|key| entry[key].as_array().is_none_or(Vec::is_empty))
}
