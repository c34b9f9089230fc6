//! How likely a mirror sphere's rim is at each distance along the rays from inside it: a small learned net over the frame unrolled about
//! a circle (`golden/outside/learn_rim.py`, the practice shots alone). It tells from where the edges are to be followed, and how much
//! looks like a rim where a fitted outline runs. Outlines come from the edges.

mod net;

use std::f64::consts::TAU;

use super::flat::{Circle, to_flat};
use super::unrolled::{PLANES, SPOKES, unrolled};
use crate::image::Frame;
use crate::optics::camera::View;

/// Distances from the centre, innermost first.
const RINGS: usize = 48;
/// What they cover, in radii of the circle.
const NEAR: f64 = 0.6;
const FAR: f64 = 1.5;
/// The frame shows at least this part of it: the inside of a sphere that fills it is 44 %.
const LEAST_SHOWN: f64 = 0.35;
/// A ray on which nothing is known costs no more than this chance in all.
const NOTHING: f64 = 0.02;
/// Circles from which the likeliest is looked for, in radii of the one unrolled about.
const CENTRES: [f64; 3] = [-0.15, 0.0, 0.15];
const RADII: [f64; 5] = [0.8, 0.9, 1.0, 1.1, 1.25];
/// First and last step of the climb.
const FIRST_STEP: f64 = 0.08;
const LAST_STEP: f64 = 0.002;
/// The frame is unrolled so many times, about ever better circles.
const PASSES: usize = 3;

/// How a circle compares with the likeliest one about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RimChance {
    /// Mean ln of the chance of each ray's ring on the circle itself.
    pub ln_chance: f64,
    /// How much higher it is on the likeliest circle.
    pub ln_missed: f64,
}

impl RimChance {
    /// Where the frame shows too little: as on a middling rim.
    const UNKNOWN: Self = Self { ln_chance: -1.2, ln_missed: 0.1 };
    /// The plainest of rims.
    pub(super) const PLAINEST: Self = Self { ln_chance: -0.2, ln_missed: 0.0 };
}

/// Follows a rough circle to the one most like a rim, with the chances about it; `None` where the frame shows too little of it.
pub(super) fn followed(frame: &Frame, view: &View, rough: &Circle) -> Option<(Circle, Chances)> {
    let mut chances = Chances::about(frame, view, rough)?;
    for _ in 1..PASSES {
        chances = Chances::about(frame, view, &chances.likeliest().0)?;
    }
    Some((chances.likeliest().0, chances))
}

/// How much looks like a rim on a circle.
pub(super) fn rim_chance(frame: &Frame, view: &View, circle: &Circle) -> RimChance {
    let Some(chances) = Chances::about(frame, view, circle) else { return RimChance::UNKNOWN };
    let ln_chance = chances.ln_chance([0.0, 0.0, 1.0]);
    RimChance { ln_chance, ln_missed: (chances.likeliest().1 - ln_chance).max(0.0) }
}

/// For every ray the chance of each ring.
#[derive(Debug)]
pub(super) struct Chances {
    circle: Circle,
    /// Rings by spokes.
    values: Vec<f64>,
    /// Cosine and sine of each spoke that the frame shows in part, and its number.
    spokes: Vec<(usize, [f64; 2])>,
}

impl Chances {
    fn about(frame: &Frame, view: &View, circle: &Circle) -> Option<Self> {
        let width = (FAR - NEAR) / RINGS as f64;
        let rings: Vec<[f64; 2]> = (0..RINGS).map(|i| [i, i + 1].map(|k| NEAR + width * k as f64)).collect();
        let picture = unrolled(frame, view, circle, &rings, LEAST_SHOWN)?;
        let shown = &picture[(PLANES - 1) * RINGS * SPOKES..];
        let is_shown = |spoke: &usize| (0..RINGS).any(|ring| shown[ring * SPOKES + spoke] > 0.0);
        let way = |spoke: usize| TAU * (spoke as f64 + 0.5) / SPOKES as f64;
        let spokes = (0..SPOKES).filter(is_shown).map(|s| (s, [way(s).cos(), way(s).sin()])).collect();
        Some(Self { circle: *circle, values: net::chances(picture), spokes })
    }

    /// The chance that a rim crosses a ray at a place of the frame, by the highest on that ray.
    pub(super) fn by_the_highest(&self, view: &View, point_px: [f64; 2]) -> f64 {
        let [x, y] = to_flat(view, point_px);
        let (x, y) = ((x - self.circle.x) / self.circle.radius, (y - self.circle.y) / self.circle.radius);
        let spoke = ((y.atan2(x).rem_euclid(TAU) / TAU * SPOKES as f64) as usize).min(SPOKES - 1);
        let highest = (0..RINGS).map(|ring| self.values[ring * SPOKES + spoke]).fold(0.0, f64::max);
        let floor = NOTHING / RINGS as f64;
        (self.on_spoke(spoke, x.hypot(y)) + floor) / (highest + floor)
    }

    /// The chance at a distance from the centre, in radii.
    fn on_spoke(&self, spoke: usize, distance: f64) -> f64 {
        let ring = ((distance - NEAR) / (FAR - NEAR) * RINGS as f64 - 0.5).clamp(0.0, RINGS as f64 - 1.001);
        let (low, part) = (ring as usize, ring.fract());
        let value = |ring: usize| self.values[ring * SPOKES + spoke];
        (1.0 - part) * value(low) + part * value(low + 1)
    }

    /// Mean ln of the chance on a circle (x, y, radius, in radii of the one unrolled about).
    fn ln_chance(&self, [x, y, radius]: [f64; 3]) -> f64 {
        let of = |(spoke, [across, down]): &(usize, [f64; 2])| {
            let along = x * across + y * down;
            let distance = along + (radius * radius - x * x - y * y + along * along).max(0.0).sqrt();
            (self.on_spoke(*spoke, distance) + NOTHING / RINGS as f64).ln()
        };
        self.spokes.iter().map(of).sum::<f64>() / self.spokes.len().max(1) as f64
    }

    /// The circle on which it is highest, and how high.
    fn likeliest(&self) -> (Circle, f64) {
        let mut best = ([0.0, 0.0, 1.0], f64::NEG_INFINITY);
        for (x, y, radius) in CENTRES.iter().flat_map(|x| CENTRES.iter().flat_map(move |y| RADII.map(|r| (*x, *y, r))))
        {
            let value = self.ln_chance([x, y, radius]);
            if value > best.1 {
                best = ([x, y, radius], value);
            }
        }
        let mut step = FIRST_STEP;
        while step > LAST_STEP {
            let before = best.1;
            for (axis, sign) in [(0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0), (2, 1.0), (2, -1.0)] {
                let mut other = best.0;
                other[axis] += sign * step;
                let value = self.ln_chance(other);
                if value > best.1 {
                    best = (other, value);
                }
            }
            if best.1 <= before {
                step *= 0.5;
            }
        }
        let ([x, y, radius], ln_chance) = best;
        let of = self.circle;
        let circle = Circle { x: of.x + x * of.radius, y: of.y + y * of.radius, radius: radius * of.radius };
        (circle, ln_chance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rim about (x, y) of a radius, all in radii of the circle unrolled about; nothing is known on the first `hidden` spokes.
    fn about([x, y, radius]: [f64; 3], hidden: usize) -> Chances {
        let mut values = vec![1.0 / RINGS as f64; RINGS * SPOKES];
        let mut spokes = Vec::new();
        for spoke in 0..SPOKES {
            let angle = TAU * (spoke as f64 + 0.5) / SPOKES as f64;
            let along = x * angle.cos() + y * angle.sin();
            let distance = along + (radius * radius - x * x - y * y + along * along).sqrt();
            spokes.push((spoke, [angle.cos(), angle.sin()]));
            for ring in (0..RINGS).filter(|_| spoke >= hidden) {
                let at = NEAR + (FAR - NEAR) * (ring as f64 + 0.5) / RINGS as f64;
                values[ring * SPOKES + spoke] = (-0.5 * ((at - distance) / 0.02).powi(2)).exp();
            }
        }
        Chances { circle: Circle { x: 200.0, y: 100.0, radius: 50.0 }, values, spokes }
    }

    #[test]
    fn the_likeliest_circle_is_that_of_the_rays_though_a_third_of_them_knows_nothing() {
        for hidden in [0, SPOKES / 3] {
            let (circle, _) = about([0.12, -0.07, 1.1], hidden).likeliest();
            let off = (circle.x - 206.0).hypot(circle.y - 96.5) + (circle.radius - 55.0).abs();
            assert!(off < 0.3, "{hidden}: {circle:?}");
        }
    }

    #[test]
    fn a_place_on_the_rim_has_the_highest_chance_of_its_ray() {
        let chances = about([0.0, 0.0, 1.0], 0);
        let size = crate::image::Size { width: 400, height: 200 };
        let view = View::from_horizontal_fov(size, 1.0, 20.0, crate::optics::camera::FovSource::Sheet);
        let chances = Chances { circle: Circle { x: 0.0, y: 0.0, radius: 50.0 }, ..chances };
        let at = |distance: f64| chances.by_the_highest(&view, [200.0 + distance, 100.0]);
        assert!(at(50.0) > 0.8 && at(44.0) < 0.05 && at(56.0) < 0.05, "{} {} {}", at(50.0), at(44.0), at(56.0));
    }
}
