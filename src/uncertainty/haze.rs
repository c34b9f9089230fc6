//! A worn, brushed or dirty sphere: it shows every light wider than it is.
//!
//! Haze adds the same spread to every light, whatever its size, while lights of wrong size are each wrong in their own
//! way. So it is told from the lights that both spheres show: what the photographed ones' second moments have more than
//! the CG's must be one number. A lens out of focus or a sphere in motion do much the same; the picture does not tell.
//!
//! What the lens itself blurs is not known and common to all of them, so haze has to stand out from that. A light's extent
//! ends where it meets its surroundings, which loses the faint ends of a wide blur: the result is a lower bound.
//!
//! Microfacet slopes of a rough mirror are nearly Gaussian with a variance of α²/2 on each axis (Beckmann's
//! distribution, Walter et al. 2007), and a tilted facet turns the reflection by twice its tilt: α = 0.02 blurs by 1.6°.

use crate::pairing::Pairing;
use crate::shown::is_cut;
use crate::side::Side;
use crate::units::Estimate;

/// Lights that have to agree.
const LEAST_LIGHTS: usize = 2;

/// The common spread must stand out from none by this many standard deviations …
const LEAST_SDS: f64 = 3.0;

/// … and be at least this wide, degrees: less changes nothing that is reported.
const LEAST_BLUR_DEG: f64 = 0.3;

/// The lights' own values may scatter by this many times what each is uncertain; beyond, they differ in size.
const MOST_SCATTER: f64 = 1.5;

/// Second moment of a disc against its radius: a disc of radius r spreads by r / 2 on each axis.
const DISC: f64 = 0.5;

/// Standard deviation of the Gaussian, on each axis, by which the photographed sphere at least blurs against the CG's,
/// degrees. `None` where nothing speaks for it.
pub fn blur_deg(mirror: &Side, cg: &Side, pairing: &Pairing) -> Option<Estimate> {
    let excess: Vec<Estimate> = pairing.pairs.iter().filter_map(|(m, c)| excess_deg2(mirror, *m, cg, *c)).collect();
    common(&excess)
}

/// What one light's spread on each axis has more on the photograph than in the CG, degrees squared.
fn excess_deg2(mirror: &Side, m: usize, cg: &Side, c: usize) -> Option<Estimate> {
    let (ours, theirs) = (&mirror.lights.all[m], &cg.lights.all[c]);
    if ours.clipped || theirs.clipped || is_cut(mirror, ours, &ours.direction) || is_cut(cg, theirs, &theirs.direction)
    {
        return None;
    }
    let (wide, narrow) = (ours.angular_radius_deg.ok()?, theirs.angular_radius_deg.ok()?);
    let squared = DISC * DISC * (wide.value * wide.value - narrow.value * narrow.value);
    // No lens blurs the CG.
    Some(Estimate::new(squared, 2.0 * DISC * DISC * wide.value * wide.sd))
}

/// The one blur that explains all of them.
fn common(excess: &[Estimate]) -> Option<Estimate> {
    if excess.len() < LEAST_LIGHTS {
        return None;
    }
    let count = excess.len() as f64;
    let mean = excess.iter().map(|e| e.value).sum::<f64>() / count;
    let own = excess.iter().map(|e| e.sd).sum::<f64>() / count;
    let scatter = (excess.iter().map(|e| (e.value - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    let sd = own.hypot(scatter / count.sqrt());
    let blur = mean.max(0.0).sqrt();
    let told = scatter <= MOST_SCATTER * own && mean > LEAST_SDS * sd && blur >= LEAST_BLUR_DEG;
    told.then(|| Estimate::new(blur, sd / (2.0 * blur)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_blur_is_told_and_unlike_sizes_are_not() {
        let all = |values: &[f64]| -> Vec<Estimate> { values.iter().map(|v| Estimate::new(*v, 0.1)).collect() };
        let found = common(&all(&[2.3, 2.2, 2.25])).unwrap();
        assert!((found.value - 1.5).abs() < 0.01 && found.sd < 0.05, "{found:?}");
        assert!(common(&all(&[2.3])).is_none(), "one light may be of another size");
        assert!(common(&all(&[4.0, 0.1, 0.2])).is_none(), "one light is larger, the others are not");
        assert!(common(&all(&[0.02, -0.03, 0.01])).is_none());
        assert!(common(&all(&[-2.0, -2.0])).is_none(), "the CG's are the wide ones");
    }
}
