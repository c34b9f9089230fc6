//! Lights seen in two mirrors, paired and put at their distance.

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::place::{self, Baseline, Place};
use super::triangulate::{Crossing, cross};
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::sheet::ShotSheet;
use crate::sphere::azimuth_elevation_deg;

/// Lights that give less of the illuminance than this are not worth a distance.
const LEAST_SHARE: f64 = 0.03;

/// Sight lines that miss each other, or part, by more of their standard deviations belong to two lights. Four, since an
/// outline found among clutter is now and then off by three.
const MOST_MISS_SDS: f64 = 4.0;

/// Two spheres see a light this alike, stops: beside the fall-off, lamps do not shine evenly (common practice, no
/// source).
const ALIKE_SD_STOPS: f64 = 0.7;

/// Another partner this close (as a sum of squared deviations) leaves open which light is which.
const RIVAL_COST: f64 = 4.0;

/// A photographed sphere with its place, where diameter and field of view are known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing<'a> {
    pub(super) side: &'a SphereMeasurement,
    pub(super) place: Option<Place>,
}

impl<'a> Standing<'a> {
    pub(super) fn of(sheet: &ShotSheet, side: &'a SphereMeasurement) -> Self {
        let radius_mm = sheet.mirror(&side.name).and_then(|m| m.diameter_mm).map(|d| 0.5 * d);
        Self { side, place: radius_mm.and_then(|radius_mm| Place::seen(side, radius_mm)) }
    }
}

/// A light of one mirror with its distance.
#[derive(Debug, Clone)]
pub(crate) struct Ranged {
    /// The mirror that the distance is from.
    pub(crate) mirror: String,
    /// Place of the light in that mirror's list.
    pub(crate) light: usize,
    with: String,
    pub(super) direction: Vector3<f64>,
    per_mm: Estimate,
    from: &'static str,
}

impl Ranged {
    /// The distance, where it is one and not a bound.
    pub(crate) fn distance_mm(&self) -> Option<Estimate> {
        let Estimate { value, sd } = self.per_mm;
        (value > 3.0 * sd).then(|| Estimate::new(1.0 / value, sd / (value * value)))
    }

    /// With 97.5 % certainty it is no nearer, mm.
    pub(crate) fn at_least_mm(&self) -> f64 {
        1.0 / (self.per_mm.value.max(0.0) + 2.0 * self.per_mm.sd).max(1e-7)
    }

    pub(super) fn to_json(&self) -> Value {
        let [azimuth, elevation] = azimuth_elevation_deg(&self.direction);
        let mut value = json!({
            "mirror": self.mirror, "with": self.with, "azimuth_deg": azimuth, "elevation_deg": elevation,
            "places_from": self.from,
        });
        if let Some(distance) = self.distance_mm() {
            value["distance_mm"] = distance.value.into();
            value["distance_mm_sd"] = distance.sd.into();
        } else {
            value["distance_mm"] = self.at_least_mm().into();
            value["distance_mm_bound"] = "lower".into();
        }
        value
    }

    pub(super) fn words(&self) -> String {
        let [azimuth, elevation] = azimuth_elevation_deg(&self.direction);
        let light = format!(
            "the light at azimuth {azimuth:+.0}, elevation {elevation:+.0} deg of {}",
            crate::printable_text(&self.mirror)
        );
        match self.distance_mm() {
            Some(d) => format!("{light} is {:.2} +/- {:.2} m away", d.value / 1000.0, d.sd / 1000.0),
            None => format!("{light} is further away than {:.1} m", self.at_least_mm() / 1000.0),
        }
    }
}

/// Every light that two mirrors show, at its distance from the first of them, and what kept pairs of mirrors from
/// telling.
pub(super) fn all(sheet: &ShotSheet, stands: &[Standing<'_>]) -> (Vec<Ranged>, Vec<String>) {
    let (mut ranged, mut in_the_way) = (Vec::new(), Vec::new());
    for (i, first) in stands.iter().enumerate() {
        for second in &stands[i + 1..] {
            let seen = [first.place.as_ref(), second.place.as_ref()];
            match place::baseline(sheet, [first.side, second.side], seen) {
                Ok(baseline) => ranged.extend(of_two(first, second, &baseline)),
                Err(reason) => in_the_way.push(reason),
            }
        }
    }
    (ranged, in_the_way)
}

/// One light of each mirror that may be the same.
struct Match {
    lights: [usize; 2],
    crossing: Crossing,
    cost: f64,
}

fn of_two(first: &Standing<'_>, second: &Standing<'_>, baseline: &Baseline) -> Vec<Ranged> {
    let (a, b) = (first.side, second.side);
    let radius = |stand: &Standing<'_>| stand.place.as_ref().map_or(0.0, |place| place.radius_mm);
    let worth = |lights: &[Light]| lights.iter().take_while(|l| l.share.value >= LEAST_SHARE).count();
    let mut matches = Vec::new();
    for (i, light) in a.lights.all.iter().enumerate().take(worth(&a.lights.all)) {
        for (j, other) in b.lights.all.iter().enumerate().take(worth(&b.lights.all)) {
            let sights = [
                place::sight(a, light, Vector3::zeros(), radius(first)),
                place::sight(b, other, baseline.between_mm, radius(second)),
            ];
            let Some(crossing) = cross(&sights[0], &sights[1], baseline.sd_mm) else { continue };
            let Some(cost) = cost(&crossing, [light, other]) else { continue };
            matches.push(Match { lights: [i, j], crossing, cost });
        }
    }
    let sure = matches.iter().filter(|m| {
        let rival = |other: &&Match| (0..2).any(|s| other.lights[s] == m.lights[s]) && other.lights != m.lights;
        matches.iter().filter(rival).all(|other| other.cost > m.cost + RIVAL_COST)
    });
    sure.map(|m| Ranged {
        mirror: a.name.clone(),
        light: m.lights[0],
        with: b.name.clone(),
        direction: a.lights.all[m.lights[0]].direction,
        per_mm: m.crossing.per_mm,
        from: baseline.from,
    })
    .collect()
}

/// How little two lights can be the same; `None` where they are not.
fn cost(crossing: &Crossing, lights: [&Light; 2]) -> Option<f64> {
    let Estimate { value, sd } = crossing.per_mm;
    // Behind the spheres, or nearer than a light can stand.
    if crossing.miss_sds > MOST_MISS_SDS || value < -MOST_MISS_SDS * sd || value > 0.02 {
        return None;
    }
    let stops = (lights[0].illuminance.value / lights[1].illuminance.value).log2();
    let clipped = lights.iter().any(|light| light.clipped);
    let unlike = if stops.is_finite() && !clipped { stops / ALIKE_SD_STOPS } else { 0.0 };
    Some(crossing.miss_sds.powi(2) + unlike.powi(2))
}
