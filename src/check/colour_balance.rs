//! `colour-balance`: is the light the same colour?

use std::f64::consts::{LN_2, SQRT_2};

use nalgebra::Vector3;
use serde_json::Value;

use super::exposure;
use super::{Check, CheckDoc, VARIES, blank, decide, drift_cure, main_uncertainty};
use crate::base::units::{Estimate, Mired};
use crate::colour::cct_ohno2013::{CctDuv, cct_duv_from_working_rgb};
use crate::colour::difference::grey_patch_difference;
use crate::colour::luminance;
use crate::colour::uncertainty::{difference_sd, temperature_uncertainty};
use crate::compare::Comparison;
use crate::compare::rotation::Rotation;
use crate::compare::sphere_measurement::{SphereMeasurement, Trust};
use crate::compare::uncertainty::hidden::Hidden;
use crate::compare::uncertainty::{hidden, jackknife, scatter, tone_curve};
use crate::findings::remedy::{Ask, Step};
use crate::findings::{Balance, Finding, Verdict};
use crate::light::lights::Light;
use crate::light::radiance::DirectionGrid;
use crate::sheet::Tolerances;

/// Error that remains on clean input, stops per channel.
const FLOOR_SD_STOPS: f64 = 0.0009;

/// A light at the edge of the shared directions may be summed in part on one side only; one sd of that part (measured
/// on made-up shots). An even distribution from nothing to all of it would give 0.29.
const CUT_PART_SD: f64 = 0.13;

/// Directions this close to a clipped light's edge are left out, on small spheres at least this many px.
const CLIPPED_MARGIN_RAD: f64 = 0.1;
const CLIPPED_MARGIN_PX: f64 = 3.5;

/// Grey patch for the CIEDE2000 figure.
const GREY: f64 = 0.18;

/// Key of the detail that names what the colour is measured against, where that is not the light itself.
const RELATIVE_TO: &str = "relative_to";

/// The check.
#[derive(Debug)]
pub struct ColourBalance;

pub use super::docs::colour_balance::DOC;

/// The light of both sides that is compared, working space.
#[derive(Clone, Copy, Default)]
struct Lights {
    mirror: [f64; 3],
    cg: [f64; 3],
}

impl Lights {
    fn with(&self, more: &Self) -> Self {
        let sum = |a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|c| a[c] + b[c]);
        Self { mirror: sum(self.mirror, more.mirror), cg: sum(self.cg, more.cg) }
    }

    fn without(&self, part: &Self) -> Self {
        let rest = |a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|c| a[c] - b[c]);
        Self { mirror: rest(self.mirror, part.mirror), cg: rest(self.cg, part.cg) }
    }
}

/// What both sides show of a direction.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Shown {
    ByBoth,
    /// At a recording's ceiling, or beside what is.
    Clipped,
    No,
}

/// The mean light of the shared directions, and how sure it is.
struct Overall {
    lights: Lights,
    /// How far it hangs on single parts of the sky, stops.
    scatter_sd_stops: f64,
    /// Uncertainty from lights at the edge of the shared directions, stops.
    cut_sd_stops: f64,
    /// How far it moves with the clipped lights that are left out, as far as both recordings hold them, stops.
    left_out_sd_stops: f64,
}

impl Check for ColourBalance {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn tolerance(&self, tolerances: &Tolerances) -> f64 {
        tolerances.colour.stops
    }

    fn run(&self, pair: &Comparison) -> Finding {
        let mut finding = blank(&DOC, &pair.mirror.name, pair.tolerances.colour.stops);
        if pair.cg.trust.view_transform {
            finding.reason =
                "the CG picture seems to have gone through a view transform (a display encoding, or values cut off at display white), so its colour cannot be judged".to_owned();
            finding.remedy = Ask::LinearRender.into();
            return finding;
        }
        let cg = pair.cg_on_equal_terms();
        let overall = overall(&pair.mirror, cg, pair.rotation.as_ref());
        let uncertainties = uncertainties(pair, cg, overall.as_ref());
        let sd = super::combined(&uncertainties);
        let Some(overall) = overall.and_then(|o| balance(&o.lights, sd).map(|b| (o.lights, b))) else {
            finding.reason = "a channel of one of the spheres is black or negative".to_owned();
            finding.remedy = Ask::EncodingAndColourSpace.into();
            return finding;
        };
        judge(&mut finding, &overall.0, &overall.1, sd, pair.tolerances.colour.mired, main_uncertainty(&uncertainties));
        if finding.verdict == Verdict::Unsure && main_uncertainty(&uncertainties) == pair.drift.colour_words() {
            finding.remedy = drift_cure(&pair.drift).into();
        }
        if pair.mirror.trust.auto_white_balance && pair.drift.balanced_alike {
            finding.detail.insert(RELATIVE_TO.to_owned(), "the plate".into());
        }
        insert(&mut finding, "overall", &overall.1);
        parts(&mut finding, pair, cg, sd);
        finding
    }
}

fn uncertainties(pair: &Comparison, cg: &SphereMeasurement, overall: Option<&Overall>) -> Vec<(f64, &'static str)> {
    let trust = pair.mirror.trust;
    // One channel against another: each has a tint of its own.
    let reflectance = SQRT_2 * pair.mirror.reflectance.channel_sd_stops.hypot(pair.cg.reflectance.channel_sd_stops);
    let recorded = || exposure::USUAL_REFLECTANCE * exposure::usual_luminance(&pair.mirror);
    let curve = tone_curve::channel_sd_stops(trust, recorded);
    // Against a plate that was balanced alike, what the camera chose cancels.
    let unknown_white = trust.auto_white_balance && !pair.drift.balanced_alike;
    let white = if unknown_white { tone_curve::AUTO_WHITE_SD_STOPS } else { 0.0 };
    let scatter = overall.map_or(0.0, |o| o.scatter_sd_stops).hypot(FLOOR_SD_STOPS);
    vec![
        (scatter, VARIES),
        (overall.map_or(0.0, |o| o.cut_sd_stops), "lights stand at the edge of what both spheres show"),
        (
            overall.map_or(0.0, |o| o.left_out_sd_stops),
            "lights that the photograph clips are left out, and the CG does not show them alike",
        ),
        (hidden::channel_sd_stops(pair.hidden()), "part of the sphere may be hidden"),
        (reflectance, "the sphere's tint is not well known; measure it, or give it in the sheet"),
        (curve, curve_words(trust)),
        (white, "the camera's white balance was automatic"),
        (pair.drift.colour_stops, pair.drift.colour_words()),
        (surface_blur_sd_stops(pair), "the mirror sphere blurs the light"),
        (fov_sd_stops(pair, cg), "the field of view is not known; give focal length and sensor"),
    ]
}

fn curve_words(trust: Trust) -> &'static str {
    if trust.recovered_curve {
        "the bracket shows the tone curve, but not how the camera balances the channels at middle grey; use linear \
         frames developed from raw"
    } else {
        "a camera file in a display encoding has an unknown tone curve"
    }
}

/// What blur of the photographed sphere does to the channel that it moves most.
fn surface_blur_sd_stops(pair: &Comparison) -> f64 {
    let channel = |channel: usize| {
        pair.surface_blur_sd(|m, c| channel_stops(&overall(m, c, None)?.lights).map(|stops| stops[channel]))
    };
    (0..3).map(channel).fold(0.0, f64::max)
}

/// What an unknown field of view does to the channel that it moves most: other directions are shared under another.
fn fov_sd_stops(pair: &Comparison, cg: &SphereMeasurement) -> f64 {
    if pair.other_views.is_empty() {
        return 0.0;
    }
    let of_channel = |channel: usize| {
        let quick = |m: &SphereMeasurement, c: &SphereMeasurement| {
            channel_stops(&overall(m, c, None)?.lights).map(|stops| stops[channel])
        };
        quick(&pair.mirror, cg).map_or(0.0, |base| pair.fov_sd(base, quick))
    };
    (0..3).map(of_channel).fold(0.0, f64::max)
}

/// Mean radiance over the directions that both sides saw unclipped. Each side's light is summed as it was gathered,
/// cell by cell of its own, so that a lamp between cells counts once.
fn overall(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>) -> Option<Overall> {
    let grid = DirectionGrid::shared();
    let shared = shared_cells(mirror, cg, rotation);
    let (mut sum, mut seen) = (Lights::default(), [0.0; 2]);
    let mut patches = vec![Lights::default(); scatter::PATCHES];
    let mut clipped = Lights::default();
    for (cell, direction) in grid.directions.iter().enumerate() {
        let there = rotation.map_or(*direction, |r| r.cg_to_mirror * direction);
        let lands = rotation.map_or(cell, |_| grid.cell(&there));
        let (a, b) = (&mirror.image.map.cells()[cell], &cg.image.map.cells()[cell]);
        match shared[cell] {
            Shown::ByBoth => {
                seen[0] += a.steradian;
                add(&mut sum.mirror, &a.light);
                add(&mut patches[scatter::patch_of(direction)].mirror, &a.light);
            }
            Shown::Clipped => add(&mut clipped.mirror, &a.light),
            Shown::No => {}
        }
        match shared[lands] {
            Shown::ByBoth => {
                seen[1] += b.steradian;
                add(&mut sum.cg, &b.light);
                add(&mut patches[scatter::patch_of(&there)].cg, &b.light);
            }
            Shown::Clipped => add(&mut clipped.cg, &b.light),
            Shown::No => {}
        }
    }
    if seen[0].min(seen[1]) <= 0.0 {
        return None;
    }
    let lights = Lights { mirror: sum.mirror.map(|v| v / seen[0]), cg: sum.cg.map(|v| v / seen[1]) };
    Some(Overall {
        lights,
        scatter_sd_stops: scatter_sd_stops(&sum, &patches),
        cut_sd_stops: cut_sd_stops(mirror, cg, rotation, &sum),
        left_out_sd_stops: moved_stops(&sum, &sum.with(&clipped)),
    })
}

fn add(sum: &mut [f64; 3], light: &[f64; 3]) {
    sum.iter_mut().zip(light).for_each(|(s, l)| *s += l);
}

/// What both sides show of the directions (of the photograph); nothing of what something may hide.
fn shared_cells(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>) -> Vec<Shown> {
    let grid = DirectionGrid::shared();
    let hidden = Hidden::find(mirror, cg, rotation);
    let shown = |(cell, direction): (usize, &Vector3<f64>)| {
        let source = rotation.map_or(*direction, |r| r.back(direction));
        let from = if rotation.is_some() { grid.cell(&source) } else { cell };
        let (a, b) = (&mirror.image.map.cells()[cell], &cg.image.map.cells()[from]);
        let seen = a.steradian.min(b.steradian) > 0.5 * grid.steradian[cell];
        let sharp = mirror.is_inside_rim(direction) && cg.is_inside_rim(&source);
        if !seen || !sharp || hidden.leaves_out(cell) {
            return Shown::No;
        }
        let clipped = a.clipped_steradian > 0.0 || b.clipped_steradian > 0.0;
        let beside = beside_clipped(mirror, direction) || beside_clipped(cg, &source);
        if clipped || beside { Shown::Clipped } else { Shown::ByBoth }
    };
    grid.directions.iter().enumerate().map(shown).collect()
}

/// Blur carries part of a clipped light past the clipped pixels, on one side more than on the other.
fn beside_clipped(side: &SphereMeasurement, direction: &Vector3<f64>) -> bool {
    // In the middle of a sphere of r px one px is 2/r rad.
    let margin = (CLIPPED_MARGIN_PX * 2.0 / side.fit.outline.mean_radius().max(2.0)).max(CLIPPED_MARGIN_RAD);
    let reach = |l: &Light| (l.reach_rad + margin).min(std::f64::consts::PI).cos();
    side.lights.all.iter().any(|l| l.clipped && l.direction.dot(direction) > reach(l))
}

/// How far the channels of the sum depend on single patches of the sky, each left out on both sides in turn.
fn scatter_sd_stops(sum: &Lights, patches: &[Lights]) -> f64 {
    let of = |channel: usize| {
        let without = |i: usize| channel_stops(&sum.without(&patches[i])).map(|stops| stops[channel]);
        jackknife::sd(patches.len(), without)
    };
    (0..3).map(of).fold(0.0, f64::max)
}

/// By how much the channel that moves most differs between two sums.
fn moved_stops(one: &Lights, other: &Lights) -> f64 {
    let Some((one, other)) = channel_stops(one).zip(channel_stops(other)) else { return 0.0 };
    (0..3).map(|c| (one[c] - other[c]).abs()).fold(0.0, f64::max)
}

/// Uncertainty from lights at the edge of the shared directions, of which different parts may be summed on the two
/// sides.
fn cut_sd_stops(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>, sum: &Lights) -> f64 {
    let here = |d: &Vector3<f64>| rotation.map_or(*d, |r| r.cg_to_mirror * d);
    let part =
        |d: &Vector3<f64>, light: &Light| if mirror.straddles_rim(d, light.reach_rad) { CUT_PART_SD } else { 0.0 };
    let ours = tint_sd_stops(mirror.lights.all.iter().map(|l| (l, part(&l.direction, l))), sum.mirror);
    let theirs = tint_sd_stops(cg.lights.all.iter().map(|l| (l, part(&here(&l.direction), l))), sum.cg);
    ours.max(theirs)
}

/// How far lights, each uncertain by the given fraction, move red and blue of `total`.
fn tint_sd_stops<'a>(lights: impl Iterator<Item = (&'a Light, f64)>, total: [f64; 3]) -> f64 {
    let moved = |light: &Light, part: f64, channel: usize| {
        let of = |rgb: f64, whole: f64| rgb / whole.max(1e-30);
        let tint =
            of(light.illuminance_rgb[channel], total[channel]) - of(luminance(light.illuminance_rgb), luminance(total));
        part * tint.clamp(-1.0, 1.0) / LN_2
    };
    let variances = lights.filter(|(light, _)| !light.clipped).fold([0.0; 2], |sum: [f64; 2], (light, part)| {
        [sum[0] + moved(light, part, 0).powi(2), sum[1] + moved(light, part, 2).powi(2)]
    });
    variances[0].max(variances[1]).sqrt()
}

/// Error per channel, each side normalised by its luminance, stops.
fn channel_stops(lights: &Lights) -> Option<[f64; 3]> {
    let (y_mirror, y_cg) = (luminance(lights.mirror), luminance(lights.cg));
    if y_mirror <= 0.0 || y_cg <= 0.0 {
        return None;
    }
    let mut stops = [0.0; 3];
    for channel in 0..3 {
        stops[channel] = crate::Stops::from_ratio(lights.cg[channel] / y_cg, lights.mirror[channel] / y_mirror)?.0;
    }
    Some(stops)
}

fn mired_of(colour: Option<CctDuv>) -> Option<f64> {
    colour?.cct.to_mired().map(|Mired(m)| m)
}

/// Error in mired, + = CG warmer, with its uncertainty from the channels'.
fn mired_error(lights: &Lights, sd_stops: f64) -> Option<(Estimate, Estimate)> {
    let mirror = cct_duv_from_working_rgb(lights.mirror)?;
    let cg = cct_duv_from_working_rgb(lights.cg)?;
    let value = mired_of(Some(cg))? - mired_of(Some(mirror))?;
    let uncertainty = temperature_uncertainty(lights.cg, against_green(sd_stops))?;
    Some((Estimate::new(value, uncertainty.mired), Estimate::new(cg.duv - mirror.duv, uncertainty.duv)))
}

/// Red and blue against green.
fn against_green(sd_stops: f64) -> [f64; 3] {
    [sd_stops, 0.0, sd_stops]
}

/// The comparison as the report holds it. `sd_stops` is that of one channel against green.
fn balance(lights: &Lights, sd_stops: f64) -> Option<Balance> {
    let stops = channel_stops(lights)?;
    let (red, blue) = (stops[0] - stops[1], stops[2] - stops[1]);
    let gain = [(-red).exp2(), 1.0, (-blue).exp2()];
    let gain_sd = sd_stops * LN_2;
    let temperature = mired_error(lights, sd_stops);
    let delta = grey_patch_difference(lights.cg, lights.mirror, GREY);
    let delta_sd = difference_sd(lights.cg, lights.mirror, GREY, against_green(sd_stops));
    Some(Balance {
        red_green_stops: red,
        red_green_stops_sd: sd_stops,
        blue_green_stops: blue,
        blue_green_stops_sd: sd_stops,
        gain_rgb: gain,
        gain_rgb_sd: [gain[0] * gain_sd, 0.0, gain[2] * gain_sd],
        mired_error: temperature.map(|t| t.0.value),
        mired_error_sd: temperature.map(|t| t.0.sd),
        duv_error: temperature.map(|t| t.1.value),
        duv_error_sd: temperature.map(|t| t.1.sd),
        delta_e_2000: delta,
        delta_e_2000_sd: delta_sd,
    })
}

/// The worse of stops and mired against their tolerances.
fn judge(finding: &mut Finding, lights: &Lights, overall: &Balance, sd: f64, mired_tolerance: f64, uncertainty: &str) {
    let Some(stops) = channel_stops(lights) else { return };
    let largest = stops.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    super::set_value_and_verdict(finding, Estimate::new(largest, sd), uncertainty);
    finding.detail.insert("mired_tolerance".to_owned(), mired_tolerance.into());
    // What each channel would be multiplied by, luminance left as it is.
    finding.detail.insert("channel_gain_rgb".to_owned(), stops.map(|s| (-s).exp2()).to_vec().into());
    if let (Some(mired), Some(mired_sd)) = (overall.mired_error, overall.mired_error_sd) {
        let verdict = decide(Estimate::new(mired, mired_sd), mired_tolerance);
        if verdict > finding.verdict {
            finding.verdict = verdict;
            finding.reason =
                format!("{:.0} +/- {mired_sd:.0} mired against a tolerance of {mired_tolerance} mired", mired.abs());
        }
    } else if finding.verdict == Verdict::Match {
        finding.reason =
            "too far from the Planckian locus for a colour temperature; judged by channels alone".to_owned();
    }
    if finding.verdict == Verdict::Mismatch {
        finding.remedy = Step::MultiplyRgb { rgb: overall.gain_rgb, warm_mired: overall.mired_error }.into();
    }
}

/// Key and fill on their own.
fn parts(finding: &mut Finding, pair: &Comparison, cg: &SphereMeasurement, sd: f64) {
    if let Some((m, c)) = pair.pairing().pairs.iter().find(|p| p.0 == 0) {
        let (key, partner) = (&pair.mirror.lights.all[*m], &cg.lights.all[*c]);
        if key.clipped || partner.clipped {
            let side = if key.clipped { "key" } else { "CG key" };
            finding
                .detail
                .insert("key_reason".to_owned(), format!("the {side} is clipped: its colour is unknown").into());
        } else if let Some(b) = balance(
            &Lights { mirror: key.illuminance_rgb, cg: partner.illuminance_rgb },
            sd.hypot(key_sd(key, partner)),
        ) {
            insert(finding, "key", &b);
        }
    }
    let (mut mirror, mut other) = ([0.0; 3], [0.0; 3]);
    for s in pair.shared() {
        for channel in 0..3 {
            mirror[channel] += s.mirror.rgb[channel] * s.steradian;
            other[channel] += s.cg.rgb[channel] * s.steradian;
        }
    }
    if let Some(b) = balance(&Lights { mirror, cg: other }, sd) {
        insert(finding, "fill", &b);
    }
}

/// Channels of two lights against each other, stops: their own noise, and what lies behind them.
fn key_sd(key: &Light, partner: &Light) -> f64 {
    let own = |light: &Light| {
        let part = |channel: usize| light.behind_rgb[channel] / light.illuminance_rgb[channel].abs().max(1e-30);
        let behind = (part(0) - part(1)).abs().max((part(2) - part(1)).abs()).min(1.0);
        light.channel_sd.hypot(behind) / LN_2
    };
    own(key).hypot(own(partner))
}

fn insert(finding: &mut Finding, key: &str, balance: &Balance) {
    if let Ok(value) = serde_json::to_value(balance) {
        finding.detail.insert(key.to_owned(), value);
    } else {
        finding.detail.insert(key.to_owned(), Value::Null);
    }
}
