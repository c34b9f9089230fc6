//! `sphere-place`: does it matter that the CG sphere stands elsewhere, and how far away are the lights?

mod place;
mod range;
mod triangulate;

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::{Addition, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot, decide, put};
use crate::Result;
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::detail::TOLD;
use crate::findings::remedy::Step;
use crate::findings::{Concerns, Finding, Verdict};
use crate::sheet::ShotSheet;
use crate::sphere::angle_between_rad;

pub use super::docs::sphere_place::DOC;
use place::Place;
pub(crate) use range::Ranged;
use range::Standing;

/// Distances for which the parallax is reported, mm.
const TOLD_MM: [f64; 4] = [1000.0, 2000.0, 5000.0, 10_000.0];

/// Lamps on stands are rarely nearer to an actor than this (common practice, no source); where no distance is known
/// the verdict is about a light this far away.
const USUAL_NEAREST_MM: f64 = 2000.0;

/// The check.
#[derive(Debug)]
pub struct SpherePlace;

impl ShotCheck for SpherePlace {
    fn doc(&self) -> &'static super::CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        let places = sheet.mirrors.iter().filter(|mirror| mirror.position_mm.is_some()).count();
        places > 1 || sheet.mirrors.iter().any(|mirror| mirror.diameter_mm.is_some())
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "add a mirror's diameter_mm; two mirrors with position_mm show how far away the lights are"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let finding = blank_of_shot(&DOC, Concerns::Cg, shot.sheet.tolerances.direction.deg);
        Ok(Addition::of(compare(shot, finding)))
    }
}

/// A mirror, the CG sphere that answers it, and where both stand.
struct Stand<'a> {
    pair: &'a PairEvidence<'a>,
    /// By the picture, where diameter and field of view are known.
    mirror: Option<Place>,
    /// The CG sphere, taken to be as large as the mirror.
    cg: Option<Place>,
}

impl<'a> Stand<'a> {
    fn of(shot: &ShotEvidence<'_>, pair: &'a PairEvidence<'a>) -> Self {
        let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
        let radius_mm = shot.sheet.mirror(&mirror.name).and_then(|m| m.diameter_mm).map(|d| 0.5 * d);
        let seen = |side| radius_mm.and_then(|radius_mm| Place::seen(side, radius_mm));
        Self { pair, mirror: seen(mirror), cg: seen(cg) }
    }

    fn standing(&self) -> Standing<'_> {
        Standing { side: &self.pair.comparison.mirror, place: self.mirror }
    }

    fn name(&self) -> &str {
        &self.pair.comparison.mirror.name
    }

    /// From the mirror's place to that of the CG sphere, mm, with the sd of every coordinate.
    fn offset(&self) -> Option<Offset> {
        if self.pair.comparison.place_is_assumed {
            return None;
        }
        let (mirror, cg) = (self.mirror.as_ref()?, self.cg.as_ref()?);
        let (a, b) = (mirror.axes_sd_mm(), cg.axes_sd_mm());
        Some(Offset { mm: cg.centre_mm - mirror.centre_mm, sd_mm: Vector3::from_fn(|i, _| a[i].hypot(b[i])) })
    }
}

/// A displacement between two places.
#[derive(Debug, Clone, Copy)]
struct Offset {
    mm: Vector3<f64>,
    sd_mm: Vector3<f64>,
}

impl Offset {
    /// Angle between the directions in which both places see a light `distance_mm` away from the first one.
    fn parallax_deg(&self, towards: &Vector3<f64>, distance_mm: Estimate) -> Estimate {
        let angle = |offset: Vector3<f64>, distance: f64| {
            angle_between_rad(towards, &(towards * distance - offset)).to_degrees()
        };
        let value = angle(self.mm, distance_mm.value);
        let moved = (0..3).map(|i| {
            let mut step = Vector3::zeros();
            step[i] = self.sd_mm[i];
            angle(self.mm + step, distance_mm.value).max(angle(self.mm - step, distance_mm.value)) - value
        });
        let by_place = moved.map(|d| d * d).sum::<f64>().sqrt();
        let nearer = (distance_mm.value - distance_mm.sd).max(0.1 * distance_mm.value);
        Estimate::new(value, by_place.hypot(angle(self.mm, nearer) - value))
    }

    /// Its parts, 0 where a part is within two standard deviations of nothing.
    fn certain_mm(&self) -> [f64; 3] {
        [0, 1, 2].map(|i| if self.mm[i].abs() > 2.0 * self.sd_mm[i] { self.mm[i] } else { 0.0 })
    }

    fn words(&self) -> String {
        let length = self.mm.norm();
        let along = self.mm.try_normalize(1e-9).unwrap_or_else(Vector3::x);
        let sd = along.component_mul(&self.sd_mm).norm();
        let part = |value: f64, plus: &str, minus: &str| {
            (value.abs() >= 1.0).then(|| format!("{:.0} mm {}", value.abs(), if value > 0.0 { plus } else { minus }))
        };
        let parts = [
            part(self.mm.x, "to frame right", "to frame left"),
            part(self.mm.y, "up", "down"),
            part(self.mm.z, "nearer", "further away"),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        let list = if parts.is_empty() { String::new() } else { format!(" ({})", parts.join(", ")) };
        format!("the CG sphere stands {length:.0} +/- {:.0} mm from the photographed one's place{list}", sd.max(1.0))
    }
}

/// How far away the lights of photographed spheres are, each from the first of the two mirrors that show it, and what
/// kept mirrors from telling.
pub(crate) fn light_distances(sheet: &ShotSheet, sides: &[&SphereMeasurement]) -> (Vec<Ranged>, Vec<String>) {
    let standing: Vec<Standing<'_>> = sides.iter().map(|side| Standing::of(sheet, side)).collect();
    range::all(sheet, &standing)
}

fn compare(shot: &ShotEvidence<'_>, mut finding: Finding) -> Finding {
    let stands: Vec<Stand<'_>> = shot.pairs.iter().map(|pair| Stand::of(shot, pair)).collect();
    if stands.is_empty() {
        finding.reason = "no sphere pair could be compared".to_owned();
        return finding;
    }
    let standing: Vec<Standing<'_>> = stands.iter().map(Stand::standing).collect();
    let (ranged, in_the_way) = range::all(shot.sheet, &standing);
    if !ranged.is_empty() {
        finding.detail.insert("lights".to_owned(), ranged.iter().map(Ranged::to_json).collect());
    }
    let parallaxes: Vec<KeyParallax> = stands.iter().filter_map(|stand| KeyParallax::of(stand, &ranged)).collect();
    if !parallaxes.is_empty() {
        finding.detail.insert("places".to_owned(), parallaxes.iter().map(|s| s.json.clone()).collect());
    }
    if !ranged.is_empty() {
        let told: Vec<String> = ranged.iter().map(Ranged::words).collect();
        finding.detail.insert(TOLD.to_owned(), told.join("; ").into());
    }
    let mut words = in_the_way;
    if let Some(worst) = parallaxes.iter().max_by(|a, b| a.worst_deg.value.total_cmp(&b.worst_deg.value)) {
        judge_worst(&mut finding, worst, words);
    } else {
        // The diameter or the lens is missing, which is no doubt about the CG.
        finding.verdict = Verdict::NotGiven;
        words.insert(0, without_place(&stands));
        finding.reason = words.join("; ");
    }
    finding
}

/// The verdict of the sphere pair whose places differ most in what they see.
fn judge_worst(finding: &mut Finding, worst: &KeyParallax, mut words: Vec<String>) {
    finding.value = Some(worst.worst_deg.value);
    finding.value_sd = Some(worst.worst_deg.sd);
    if worst.is_measured {
        put(&mut finding.detail, "light_distance_mm", worst.distance_mm);
    } else {
        finding.detail.insert("for_a_light_at".to_owned(), format!("{:.0} mm", worst.distance_mm.value).into());
    }
    finding.verdict = decide(worst.worst_deg, finding.tolerance);
    if finding.verdict != Verdict::Match {
        words.insert(0, worst.words.clone());
        finding.remedy =
            Step::PlaceCgSphere { up_to_deg: worst.worst_deg.value, cg_offset_mm: Some(worst.cg_offset_mm) }.into();
    }
    if !worst.is_measured && finding.verdict == Verdict::Mismatch {
        finding.verdict = Verdict::Unsure;
        words.push("how far away the lights are is not known".to_owned());
    }
    finding.reason = words.join("; ");
}

fn without_place(stands: &[Stand<'_>]) -> String {
    if stands.iter().any(|s| s.pair.comparison.place_is_assumed) {
        return "the CG picture was cut out of its frame, and nothing tells from where: deliver the whole frame"
            .to_owned();
    }
    let assumed = stands.iter().any(|s| s.pair.comparison.mirror.view.is_assumed());
    if assumed {
        "the field of view is unknown, so the positions of the spheres cannot be worked out: give focal length and \
         sensor"
            .to_owned()
    } else {
        "without a mirror's diameter_mm, the position of the CG sphere cannot be checked".to_owned()
    }
}

/// What the difference in place does to the key of one mirror.
struct KeyParallax {
    worst_deg: Estimate,
    distance_mm: Estimate,
    /// The light's distance was measured, not supposed.
    is_measured: bool,
    /// Of the CG sphere from its place: to frame right, up, towards the camera; 0 where that is not certain.
    cg_offset_mm: [f64; 3],
    words: String,
    json: Value,
}

impl KeyParallax {
    fn of(stand: &Stand<'_>, ranged: &[Ranged]) -> Option<Self> {
        let offset = stand.offset()?;
        let key = stand.pair.comparison.mirror.lights.key()?;
        let told = TOLD_MM.map(|mm| (mm, offset.parallax_deg(&key.direction, Estimate::new(mm, 0.0))));
        let measured = ranged.iter().filter(|r| r.mirror == stand.name()).filter_map(|r| {
            let distance = r.distance_mm()?;
            Some((offset.parallax_deg(&r.direction, distance), distance))
        });
        let nearest = measured.max_by(|a, b| a.0.value.total_cmp(&b.0.value));
        let usual = Estimate::new(USUAL_NEAREST_MM, 0.0);
        let (worst_deg, distance_mm) = nearest.unwrap_or((offset.parallax_deg(&key.direction, usual), usual));
        let list: Vec<String> =
            told.iter().map(|(mm, deg)| format!("{:.1} deg off at {:.0} m", deg.value, mm / 1000.0)).collect();
        Some(Self {
            worst_deg,
            distance_mm,
            is_measured: nearest.is_some(),
            cg_offset_mm: offset.certain_mm(),
            words: format!("{}; from there a light in the key's direction looks {}", offset.words(), list.join(", ")),
            json: json!({
                "mirror": stand.name(),
                "cg_offset_mm": offset.mm.as_slice(),
                "cg_offset_mm_sd": offset.sd_mm.as_slice(),
                "parallax": told.iter().map(|(mm, deg)| json!({
                    "light_distance_mm": mm, "deg": deg.value, "deg_sd": deg.sd
                })).collect::<Vec<_>>(),
            }),
        })
    }
}

#[cfg(test)]
mod tests;
