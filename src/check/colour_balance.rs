//! `colour-balance`: is the light the same colour?

use serde_json::Value;

use super::exposure::{curve_sd_stops, shared_directions};
use super::{Check, CheckDoc, Comparison, blank, decide, main_doubt};
use crate::colour::cct_ohno2013::{CctDuv, cct_duv_from_working_rgb};
use crate::colour::difference::grey_patch_difference;
use crate::colour::luminance;
use crate::pairing::pair_lights;
use crate::radiance::DirectionGrid;
use crate::report::{Balance, Finding, Verdict};
use crate::sheet::Tolerances;
use crate::side::Side;
use crate::units::{Estimate, Mired};

/// Error that remains on clean input, stops per channel.
const FLOOR_SD_STOPS: f64 = 0.006;

/// Automatic white balance moves channels by about this much against each other (measured on camera files).
const AUTO_WHITE_SD_STOPS: f64 = 0.3;

/// Grey patch for the CIEDE2000 figure.
const GREY: f64 = 0.18;

/// The check.
#[derive(Debug)]
pub struct ColourBalance;

pub use super::docs::colour_balance::DOC;

/// The light of both sides that is compared, working space.
struct Lights {
    mirror: [f64; 3],
    cg: [f64; 3],
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
                "the CG picture has 8 bits and most likely a view transform, so its colour says nothing".to_owned();
            finding.remedy = "render the CG sphere as scene-linear OpenEXR, half float or better".to_owned();
            return finding;
        }
        let cg = pair.cg_on_equal_terms();
        let doubts = doubts(pair);
        let sd = super::combined(&doubts);
        let Some(overall) = overall(pair, cg).and_then(|l| balance(&l, sd).map(|b| (l, b))) else {
            finding.reason = "a channel of one of the spheres is black or negative".to_owned();
            finding.remedy = "check encoding and colour space of both frames".to_owned();
            return finding;
        };
        judge(&mut finding, &overall.0, &overall.1, sd, pair.tolerances.colour.mired, main_doubt(&doubts));
        insert(&mut finding, "overall", &overall.1);
        parts(&mut finding, pair, cg, sd);
        finding
    }
}

fn doubts(pair: &Comparison) -> Vec<(f64, &'static str)> {
    let trust = pair.mirror.trust;
    let reflectance = pair.mirror.reflectance.channel_sd_stops.hypot(pair.cg.reflectance.channel_sd_stops);
    // What the channels' curves have in common cancels.
    let curve = 0.5 * curve_sd_stops(trust);
    let white = if trust.auto_white_balance { AUTO_WHITE_SD_STOPS } else { 0.0 };
    vec![
        (FLOOR_SD_STOPS, "the two spheres differ from direction to direction"),
        (reflectance, "the sphere's tint is not known well; measure it or give it in the sheet"),
        (curve, "an 8-bit camera file has an unknown tone curve"),
        (white, "the camera balanced its white by itself"),
        (pair.drift_colour_sd_stops, "the sphere frame was not balanced like the plate (see reference-drift)"),
    ]
}

/// Mean radiance over the directions that both sides saw unclipped.
fn overall(pair: &Comparison, cg: &Side) -> Option<Lights> {
    let grid = DirectionGrid::shared();
    let (mut mirror, mut other, mut used) = ([0.0; 3], [0.0; 3], 0.0);
    for (cell, direction) in grid.directions.iter().enumerate() {
        let source = pair.rotation.as_ref().map_or(*direction, |r| r.back(direction));
        let from = if pair.rotation.is_some() { grid.cell(&source) } else { cell };
        let (a, b) = (&pair.mirror.image.map.cells[cell], &cg.image.map.cells[from]);
        let whole = 0.5 * grid.steradian[cell];
        if a.steradian <= whole || b.steradian <= whole || a.clipped_steradian > 0.0 || b.clipped_steradian > 0.0 {
            continue;
        }
        used += 1.0;
        for channel in 0..3 {
            mirror[channel] += a.light[channel] / a.steradian;
            other[channel] += b.light[channel] / b.steradian;
        }
    }
    (used > 0.0).then(|| Lights { mirror: mirror.map(|v| v / used), cg: other.map(|v| v / used) })
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
    let (mut mired_sd, mut duv_sd) = (0.0_f64, 0.0_f64);
    for channel in [0, 2] {
        let mut moved = lights.cg;
        moved[channel] *= 0.01_f64.exp2();
        let other = cct_duv_from_working_rgb(moved)?;
        mired_sd = mired_sd.hypot((mired_of(Some(other))? - mired_of(Some(cg))?) / 0.01 * sd_stops);
        duv_sd = duv_sd.hypot((other.duv - cg.duv) / 0.01 * sd_stops);
    }
    Some((Estimate::new(value, mired_sd), Estimate::new(cg.duv - mirror.duv, duv_sd)))
}

/// The comparison as the report holds it. `sd_stops` is that of one channel against green.
fn balance(lights: &Lights, sd_stops: f64) -> Option<Balance> {
    let stops = channel_stops(lights)?;
    let (red, blue) = (stops[0] - stops[1], stops[2] - stops[1]);
    let gain = [(-red).exp2(), 1.0, (-blue).exp2()];
    let gain_sd = sd_stops * std::f64::consts::LN_2;
    let temperature = mired_error(lights, sd_stops);
    let delta = grey_patch_difference(lights.cg, lights.mirror, GREY);
    // About 15 CIEDE2000 units per stop of one channel on this grey (measured by its own slope at 0.1 stop).
    let delta_sd = delta.map(|_| 15.0 * sd_stops);
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
fn judge(finding: &mut Finding, lights: &Lights, overall: &Balance, sd: f64, mired_tolerance: f64, doubt: &str) {
    let Some(stops) = channel_stops(lights) else { return };
    let largest = stops.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    super::settle(finding, Estimate::new(largest, sd), doubt);
    finding.detail.insert("mired_tolerance".to_owned(), mired_tolerance.into());
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
        let [r, g, b] = overall.gain_rgb;
        let warmth = overall.mired_error.map_or_else(String::new, |m| {
            format!("CG {:.0} mired too {}: ", m.abs(), if m > 0.0 { "warm" } else { "cool" })
        });
        finding.remedy = format!("{warmth}gain R {r:.2} G {g:.2} B {b:.2}");
    }
}

/// Key and fill on their own.
fn parts(finding: &mut Finding, pair: &Comparison, cg: &Side, sd: f64) {
    let pairing = pair_lights(&pair.mirror.lights, &cg.lights);
    if let Some((m, c)) = pairing.pairs.iter().find(|p| p.0 == 0) {
        let (key, partner) = (&pair.mirror.lights.all[*m], &cg.lights.all[*c]);
        if key.clipped {
            finding.detail.insert("key_reason".to_owned(), "the key is clipped: its colour is not known".into());
        } else if let Some(b) =
            balance(&Lights { mirror: key.illuminance_rgb, cg: partner.illuminance_rgb }, sd.hypot(key.channel_sd))
        {
            insert(finding, "key", &b);
        }
    }
    let shared = shared_directions(&pair.mirror, cg, pair.rotation.as_ref());
    let (mut mirror, mut other) = ([0.0; 3], [0.0; 3]);
    for s in &shared {
        for channel in 0..3 {
            mirror[channel] += s.mirror.rgb[channel] * s.steradian;
            other[channel] += s.cg.rgb[channel] * s.steradian;
        }
    }
    if let Some(b) = balance(&Lights { mirror, cg: other }, sd) {
        insert(finding, "fill", &b);
    }
}

fn insert(finding: &mut Finding, key: &str, balance: &Balance) {
    if let Ok(value) = serde_json::to_value(balance) {
        finding.detail.insert(key.to_owned(), value);
    } else {
        finding.detail.insert(key.to_owned(), Value::Null);
    }
}
