//! `light-gains`: the gain of each CG light that would bring the CG sphere to the photographed one.

use serde_json::{Map, Value, json};

use super::shot_check::{Addition, PairEvidence, ShotCheck, ShotEvidence};
use super::{
    Check, CheckDoc, blank, blank_of_shot, decide, highlight_direction::HighlightDirection, put, set_value_and_verdict,
};
use crate::base::units::{Estimate, Stops};
use crate::colour::cct_ohno2013::cct_duv_from_working_rgb;
use crate::colour::luminance;
use crate::compare::Comparison;
use crate::findings::remedy::{Ask, LayerChange, Remaining, Step};
use crate::findings::{Concerns, Finding, Remedy, Verdict};
use crate::light::light_gains::{GroupGain, LightGainsSolution, LightLayer, solve_gains};
use crate::light::radiance::{Source, SphereImage, cap_mean_rgb, extremes};
use crate::sheet::{CgSphereSpec, ImageSpec, ShotSheet};
use crate::{ErrorKind, Result};

/// Lights that give less than this of what patches receive do not set the value.
const COUNTED_SHARE: f64 = 0.10;

/// A light that has to go is counted as this many stops too bright.
const OFF_STOPS: f64 = 10.0;

/// Changes of colour below this are not worth saying, mired.
const NEGLIGIBLE_MIRED: f64 = 3.0;

/// Light of the beauty in no layer is told from this part on.
const TOLD_REST: f64 = 0.02;

/// The check.
#[derive(Debug)]
pub struct LightGains;

pub use super::docs::light_gains::DOC;

impl ShotCheck for LightGains {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        sheet.cg.spheres.iter().any(|s| !s.light_layers.is_empty())
    }

    fn needs(&self) -> &'static str {
        "no light layers were given; name them in light_layers of the CG sphere in the sheet"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let mut addition = Addition::default();
        for pair in &shot.pairs {
            let Some(spec) = shot.sheet.cg_sphere(&pair.comparison.mirror.name) else { continue };
            if !spec.light_layers.is_empty() {
                solve_pair(shot, pair, spec, &mut addition)?;
            }
        }
        if addition.findings.is_empty() {
            let mut finding = blank_of_shot(&DOC, Concerns::Cg, shot.sheet.tolerances.light_gains.stops);
            "no pair of spheres with light layers could be compared".clone_into(&mut finding.reason);
            addition.findings.push(finding);
        }
        Ok(addition)
    }
}

fn solve_pair(
    shot: &ShotEvidence<'_>,
    pair: &PairEvidence<'_>,
    spec: &CgSphereSpec,
    addition: &mut Addition,
) -> Result<()> {
    let comparison = pair.comparison;
    let mut finding = blank(&DOC, &comparison.mirror.name, comparison.tolerances.light_gains.stops);
    if comparison.cg.trust.view_transform {
        "the CG picture seems to have gone through a view transform (a display encoding, or values cut off at display white), so its light does not add up"
            .clone_into(&mut finding.reason);
        finding.remedy = Ask::LinearLayers.into();
        addition.findings.push(finding);
        return Ok(());
    }
    let layers = match open_layers(shot, pair, spec, addition)? {
        Ok(layers) => layers,
        Err(absent) => {
            absent.tell(&mut finding);
            addition.findings.push(finding);
            return Ok(());
        }
    };
    let photographed = in_cg_axes(comparison);
    match solve_gains(&photographed, &comparison.cg.sources, &layers) {
        Some(solution) if !solution.not_whole.is_empty() => {
            finding.reason = format!(
                "the layers do not add up to the CG picture: where {} comes from, the picture has different light",
                names(&layers, &solution.not_whole)
            );
            finding.remedy = Ask::WholeLayers.into();
        }
        Some(solution) => judge(&mut finding, comparison, &photographed, &layers, &solution),
        None => {
            "too little of the photographed sphere is visible and unclipped to work out gains"
                .clone_into(&mut finding.reason);
        }
    }
    addition.findings.push(finding);
    Ok(())
}

/// Names in `light_layers` that the file does not have.
struct Absent {
    names: Vec<String>,
    /// What the file has instead.
    remedy: String,
}

impl Absent {
    fn tell(&self, finding: &mut Finding) {
        let names: Vec<String> = self.names.iter().map(|name| format!("\"{}\"", crate::printable_text(name))).collect();
        let layers = if names.len() == 1 { "layer" } else { "layers" };
        finding.reason = format!("the CG file has no {layers} {}, named in light_layers", names.join(", "));
        finding.remedy = Remedy::give(format!("correct light_layers in the sheet: {}", self.remedy));
    }
}

/// The light layers; a wrong name is no reason to give up the rest of the shot.
fn open_layers(
    shot: &ShotEvidence<'_>,
    pair: &PairEvidence<'_>,
    spec: &CgSphereSpec,
    addition: &mut Addition,
) -> Result<std::result::Result<Vec<LightLayer>, Absent>> {
    let cg = &pair.comparison.cg;
    let mut absent: Option<Absent> = None;
    let mut layers = Vec::with_capacity(spec.light_layers.len());
    for name in &spec.light_layers {
        let image = ImageSpec { layer: Some(name.clone()), ..spec.image.clone() };
        let frame = match (shot.open)(&image, "cg light layer") {
            Ok(frame) => frame,
            Err(error) if error.kind == ErrorKind::Parameter => {
                let absent = absent.get_or_insert_with(|| Absent { names: Vec::new(), remedy: error.remedy });
                absent.names.push(name.clone());
                continue;
            }
            Err(error) => return Err(error),
        };
        let gathered = SphereImage::gather(&frame, &cg.geometry, &cg.fit.outline, pair.cg_radiometry);
        layers.push(LightLayer { name: crate::printable_text(name), sources: gathered.map.completed() });
        addition.inputs.push(frame.record);
    }
    Ok(absent.map_or(Ok(layers), Err))
}

/// The photographed light where the CG has it: an environment turned as a whole is turned back.
fn in_cg_axes(comparison: &Comparison) -> Vec<Source> {
    let turned = |s: &Source| match &comparison.rotation {
        Some(rotation) => Source { direction: rotation.back(&s.direction), ..*s },
        None => *s,
    };
    comparison.mirror.sources.iter().map(turned).collect()
}

fn judge(
    finding: &mut Finding,
    comparison: &Comparison,
    photographed: &[Source],
    layers: &[LightLayer],
    solution: &LightGainsSolution,
) {
    let common_sd = comparison.mirror.reflectance.common_sd_stops.hypot(comparison.drift.exposure_stops);
    let shares: Vec<f64> = solution.groups.iter().map(|g| share(comparison, layers, g)).collect();
    let counted = solution.groups.iter().zip(&shares).filter(|(_, share)| **share >= COUNTED_SHARE);
    let tolerance = finding.tolerance;
    let worst = counted
        .map(|(g, _)| stops(g, common_sd))
        .max_by(|a, b| decide(*a, tolerance).cmp(&decide(*b, tolerance)).then(a.value.abs().total_cmp(&b.value.abs())));
    if let Some(value) = worst {
        set_value_and_verdict(
            finding,
            value,
            "the light of the layers overlaps, or the sphere's reflectance is not well known",
        );
        if value.value >= OFF_STOPS {
            finding.value_bound = Some("lower".to_owned());
        }
    } else {
        "no gain could be worked out".clone_into(&mut finding.reason);
    }
    let left = left_over(comparison, photographed, &solution.applied(&comparison.cg.sources, layers));
    write_detail(finding, layers, solution, &shares, &left);
    notes(finding, comparison, layers, solution);
    let factor = |group: &GroupGain| {
        (group.layers.iter().map(|layer| layers[*layer].name.clone()).collect::<Vec<_>>(), group.rgb)
    };
    let gains = Remedy::from(Step::LayerGains {
        changes: changes(layers, solution, common_sd),
        factors: solution.groups.iter().map(factor).collect(),
        leaves: left,
    });
    // Where every light is right the gains are a note; else they are what to do.
    if finding.verdict == Verdict::Match {
        prepend(&mut finding.reason, &gains.words());
    } else {
        finding.remedy = gains;
    }
}

fn prepend(text: &mut String, first: &str) {
    *text = if text.is_empty() { first.to_owned() } else { format!("{first}; {text}") };
}

/// The error of a light in stops, CG minus plate side: what its gain undoes.
fn stops(group: &GroupGain, common_sd_stops: f64) -> Estimate {
    let value = Stops::from_ratio(1.0, group.grey).map_or(OFF_STOPS, |s| s.0.min(OFF_STOPS));
    let sd = group.grey_sd / group.grey.max(0.1) / std::f64::consts::LN_2;
    Estimate::new(value, sd.hypot(common_sd_stops))
}

/// Part of what patches receive that a group gives, after its gain or before, whichever is more.
fn share(comparison: &Comparison, layers: &[LightLayer], group: &GroupGain) -> f64 {
    let towards = comparison.cg.geometry.towards_camera();
    let mean = |sources: &[Source]| luminance(cap_mean_rgb(sources, &towards));
    let own: f64 = group.layers.iter().map(|l| mean(&layers[*l].sources)).sum();
    own * group.grey.max(1.0) / mean(&comparison.cg.sources).max(f64::MIN_POSITIVE)
}

/// Colour change of a group's light, + = warmer, with its uncertainty; `None` where it has no colour temperature.
fn warmer_mired(layers: &[LightLayer], group: &GroupGain) -> Option<Estimate> {
    let mut colour = [0.0; 3];
    for source in group.layers.iter().flat_map(|l| &layers[*l].sources) {
        for (sum, light) in colour.iter_mut().zip(source.light) {
            *sum += light;
        }
    }
    let mired = |rgb: [f64; 3]| Some(cct_duv_from_working_rgb(rgb)?.cct.to_mired()?.0);
    let after = [0, 1, 2].map(|c| colour[c] * group.rgb[c]);
    let mut moved = after;
    moved[2] *= 1.01;
    let per_percent = (mired(moved)? - mired(after)?).abs();
    let sd = 100.0 * per_percent * group.channel_sd / group.grey.max(0.1);
    Some(Estimate::new(mired(after)? - mired(colour)?, sd))
}

fn names(layers: &[LightLayer], of: &[usize]) -> String {
    of.iter().map(|l| layers[*l].name.as_str()).collect::<Vec<_>>().join(" + ")
}

/// What to do with each light, those that change most first.
fn changes(layers: &[LightLayer], solution: &LightGainsSolution, common_sd: f64) -> Vec<LayerChange> {
    let mut changes: Vec<(f64, LayerChange)> = Vec::new();
    for group in &solution.groups {
        let change = stops(group, common_sd);
        let of = |gain, warmer_mired| LayerChange { layers: names(layers, &group.layers), gain, warmer_mired };
        if group.grey < 2.0 * group.grey_sd && group.grey < 0.1 {
            changes.push((change.value.abs(), of(Some(0.0), None)));
            continue;
        }
        let mired = warmer_mired(layers, group).filter(|m| m.value.abs() > (2.0 * m.sd).max(NEGLIGIBLE_MIRED));
        let is_one = change.value.abs() <= (2.0 * change.sd).min(0.1);
        let warmer = mired.map(|m| m.value);
        match (is_one, warmer) {
            (true, None) => {}
            (true, Some(_)) => changes.push((0.0, of(None, warmer))),
            (false, _) => changes.push((change.value.abs(), of(Some(group.grey), warmer))),
        }
    }
    changes.sort_by(|a, b| b.0.total_cmp(&a.0));
    changes.into_iter().map(|c| c.1).collect()
}

/// Errors after the gains.
fn left_over(comparison: &Comparison, photographed: &[Source], applied: &[Source]) -> Remaining {
    let towards = comparison.cg.geometry.towards_camera();
    let (cg, mirror) = (cap_mean_rgb(applied, &towards), cap_mean_rgb(photographed, &towards));
    let ratio = |sources: &[Source]| {
        let e = extremes(sources, &towards)?;
        Stops::from_ratio(e.bright.luminance, e.dark.luminance)
    };
    let channel = |c: usize| {
        let stops = Stops::from_ratio(cg[c] / luminance(cg), mirror[c] / luminance(mirror))?;
        Some(stops.0)
    };
    Remaining {
        key_deg: None,
        exposure_stops: Stops::from_ratio(luminance(cg), luminance(mirror)).map(|s| s.0),
        key_fill_stops: ratio(applied).zip(ratio(photographed)).map(|(c, m)| (c - m).0),
        colour_stops: [0, 1, 2].into_iter().filter_map(channel).max_by(|a, b| a.abs().total_cmp(&b.abs())),
    }
}

fn write_detail(
    finding: &mut Finding,
    layers: &[LightLayer],
    solution: &LightGainsSolution,
    shares: &[f64],
    left: &Remaining,
) {
    let gains: Vec<Value> = solution
        .groups
        .iter()
        .zip(shares)
        .map(|(group, share)| {
            let mut entry = Map::new();
            let of: Vec<&str> = group.layers.iter().map(|l| layers[*l].name.as_str()).collect();
            entry.insert("layers".to_owned(), json!(of));
            put(&mut entry, "gain", Estimate::new(group.grey, group.grey_sd));
            entry.insert("gain_rgb".to_owned(), json!(group.rgb));
            entry.insert("gain_rgb_sd".to_owned(), json!(vec![group.channel_sd; 3]));
            entry.insert("share".to_owned(), json!(share));
            if let Some(mired) = warmer_mired(layers, group) {
                put(&mut entry, "warmer_mired", mired);
            }
            Value::Object(entry)
        })
        .collect();
    finding.detail.insert("gains".to_owned(), gains.into());
    let untold: Vec<&str> = solution.untold.iter().map(|l| layers[*l].name.as_str()).collect();
    finding.detail.insert("not_told".to_owned(), json!(untold));
    finding.detail.insert("in_no_layer_fraction".to_owned(), solution.rest_fraction.into());
    finding.detail.insert("left_over_fraction".to_owned(), solution.left_over.into());
    let mut remaining = Map::new();
    for (key, value) in [
        ("exposure_stops", left.exposure_stops),
        ("key_fill_stops", left.key_fill_stops),
        ("colour_stops", left.colour_stops),
    ] {
        remaining.extend(value.filter(|v| v.is_finite()).map(|v| (key.to_owned(), v.into())));
    }
    finding.detail.insert("remaining".to_owned(), remaining.into());
}

/// What the reader must know beside the gains.
fn notes(finding: &mut Finding, comparison: &Comparison, layers: &[LightLayer], solution: &LightGainsSolution) {
    let mut said = Vec::new();
    for group in solution.groups.iter().filter(|g| g.layers.len() > 1) {
        said.push(format!("{} cannot be told apart and share one gain", names(layers, &group.layers)));
    }
    if !solution.untold.is_empty() {
        said.push(format!(
            "no gain for {}: clipped in the photograph, too faint, or the same light as the other layers together",
            names(layers, &solution.untold)
        ));
    }
    if solution.rest_fraction.abs() > TOLD_REST {
        let percent = 100.0 * solution.rest_fraction;
        said.push(format!("{percent:.0} % of the CG's light is in none of these layers and stays as it is"));
    }
    if comparison.rotation.is_some() {
        said.push("these gains apply once the environment is turned as advised".to_owned());
    } else if HighlightDirection.run(comparison).verdict == Verdict::Mismatch {
        said.push("a light is in the wrong place or missing: fix highlight-direction first".to_owned());
    }
    for note in said {
        prepend(&mut finding.reason, &note);
    }
}
