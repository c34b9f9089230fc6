//! Light of clipped lamps that lens and surface scatter over everything else.
//!
//! A worn sphere and a lens spread a little of each lamp over all that they show. Where lamps are clipped, their profiles tell nothing
//! of it, and the photograph is brighter than the CG by an amount that falls off with the distance from them. The CG knows how strong
//! they should be. So the ratio of both is looked at by how much of such a veil would reach a direction, and what it would be without
//! any is the level of the surroundings.

use nalgebra::Vector3;

use crate::base::statistics::weighted_median;
use crate::compare::shared::SharedDirection;

/// Light scattered falls with the square of the angle (glare of lenses and long-tailed surfaces alike), from where the comparison's
/// blur ends, rad.
const NEAREST_RAD: f64 = 0.14;

/// Directions are parted into so many groups of equal solid angle, by the veil that would reach them.
const GROUPS: usize = 3;

/// A veil that took more than this from the level would be all that is seen, stops.
const MOST_STOPS: f64 = 2.0;

/// By how much the level of the surroundings (CG over photograph, stops) would be another without the veil that the shared
/// directions show; 0 where they show none. `lamps` are the CG's lights where the photograph has them, each with its illuminance.
pub(crate) fn sd_stops(shared: &[SharedDirection], lamps: &[(Vector3<f64>, f64)]) -> f64 {
    let scattered = |d: &Vector3<f64>| -> f64 {
        let of = |(lamp, light): &(Vector3<f64>, f64)| {
            light / (crate::sphere::angle_between_rad(d, lamp).powi(2) + NEAREST_RAD * NEAREST_RAD)
        };
        lamps.iter().map(of).sum()
    };
    // Photograph over CG by veil over CG: a line, whose beginning is the level without a veil.
    let mut points: Vec<[f64; 3]> = shared
        .iter()
        .filter(|s| s.cg.luminance > 0.0)
        .map(|s| [scattered(&s.direction) / s.cg.luminance, s.mirror.luminance / s.cg.luminance, s.steradian])
        .collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let size = points.len() / GROUPS;
    if size == 0 {
        return 0.0;
    }
    let middle = |group: &[[f64; 3]], axis: usize| weighted_median(group.iter().map(|p| (p[axis], p[2])).collect());
    let (few, many) = (&points[..size], &points[points.len() - size..]);
    let ends = [few, many].map(|group| middle(group, 0).zip(middle(group, 1)));
    let (Some((x0, y0)), Some((x1, y1)), Some(all)) = (ends[0], ends[1], middle(&points, 1)) else { return 0.0 };
    if x1 <= x0 || y1 <= y0 {
        return 0.0;
    }
    let bare = y0 - x0 * (y1 - y0) / (x1 - x0);
    if bare <= 0.0 { MOST_STOPS } else { (all / bare).log2().clamp(0.0, MOST_STOPS) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::radiance::{DirectionGrid, Smoothed};

    fn shared(veil: f64, level: f64) -> (Vec<SharedDirection>, [(Vector3<f64>, f64); 1]) {
        let lamps = [(Vector3::new(0.6, 0.8, 0.0), 3.0)];
        let grid = DirectionGrid::shared();
        let one = |(i, d): (usize, &Vector3<f64>)| {
            let cg = 1.0 + 0.5 * d.y;
            let scattered =
                3.0 / (crate::sphere::angle_between_rad(d, &lamps[0].0).powi(2) + NEAREST_RAD * NEAREST_RAD);
            let of = |luminance: f64| Smoothed { rgb: [luminance; 3], luminance, coverage: 1.0, clipped: 0.0 };
            let mirror = of(level * (cg + veil * scattered));
            SharedDirection { mirror, cg: of(cg), steradian: grid.steradian[i], direction: *d, patch: 0 }
        };
        (grid.directions.iter().enumerate().map(one).collect(), lamps)
    }

    /// By construction the level is 0.7, whatever lies over it.
    #[test]
    fn what_a_veil_adds_is_doubt_and_a_clear_picture_has_none() {
        let (clear, lamps) = shared(0.0, 0.7);
        assert!(sd_stops(&clear, &lamps) < 1e-9);
        let (veiled, lamps) = shared(0.05, 0.7);
        let ratios = veiled.iter().map(|s| (s.mirror.luminance / s.cg.luminance, s.steradian)).collect();
        let seen = weighted_median(ratios).unwrap();
        approx::assert_relative_eq!(sd_stops(&veiled, &lamps), (seen / 0.7).log2(), max_relative = 1e-6);
    }
}
