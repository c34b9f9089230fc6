//! Common mode: errors that both sides share cancel in their difference.
//!
//! Light behind the sphere is guessed on both sides from the same neighbours, and the same surroundings pull both
//! sides' lights the same way. How far that cancels is seen where both sides show something: by how much the ratio of
//! the two varies from direction to direction, against how much each varies by itself.

use std::f64::consts::SQRT_2;

use crate::base::statistics::{weighted_median, weighted_robust_sd};

/// However alike the two sides are where they can be compared, this fraction of the uncertainty remains (common
/// practice, no source).
const LEAST_SHARE: f64 = 0.15;

/// Smallest difference assumed where neither side shows anything, such as a light behind the sphere, stops (common
/// practice, no source).
const LEAST_DIFFERENCE_STOPS: f64 = 0.1;

/// How alike the surroundings of two sides are, lights aside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CommonMode {
    /// Spread of the ratio of the two from direction to direction, one sd in stops; `None` where nothing is shared.
    difference_stops: Option<f64>,
    /// Spread of one of them.
    spread_stops: f64,
}

impl CommonMode {
    /// From the logarithms (base 2) of both sides' luminance in shared directions, each with its solid angle.
    pub fn of(levels: &[([f64; 2], f64)]) -> Self {
        let spread = |f: &dyn Fn(&[f64; 2]) -> f64| {
            let values: Vec<(f64, f64)> = levels.iter().map(|(v, weight)| (f(v), *weight)).collect();
            let middle = weighted_median(values.clone())?;
            weighted_robust_sd(&values, middle)
        };
        Self { difference_stops: spread(&|v| v[1] - v[0]), spread_stops: spread(&|v| v[0]).unwrap_or(0.0) }
    }

    /// The fraction of two independent errors that remains in the difference.
    pub fn share(&self) -> f64 {
        let Some(difference) = self.difference_stops else { return 1.0 };
        (difference / (SQRT_2 * self.spread_stops).max(1e-9)).clamp(LEAST_SHARE, 1.0)
    }

    /// One sd of the difference from directions that were filled in on both sides: each side may be off by
    /// `apart_stops`, which cancels in part where the sides are alike.
    pub fn filled_sd_stops(&self, apart_stops: f64) -> f64 {
        let most = SQRT_2 * apart_stops;
        self.difference_stops.map_or(most, |d| d.max(LEAST_DIFFERENCE_STOPS).min(most))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::register::test_scene::Random;

    #[test]
    fn equal_sides_cancel_and_strangers_do_not() {
        let mut random = Random::new(3);
        let levels: Vec<f64> = (0..400).map(|_| random.normal()).collect();
        let equal: Vec<_> = levels.iter().map(|level| ([*level, 1.0 + level], 1.0)).collect();
        let strange: Vec<_> = levels.iter().map(|level| ([*level, random.normal()], 1.0)).collect();
        assert!(CommonMode::of(&equal).share() < 0.16);
        assert!(CommonMode::of(&strange).share() > 0.8);
        assert!(CommonMode::of(&[]).share() > 0.99);
        assert!(CommonMode::of(&equal).filled_sd_stops(0.7) < 0.11);
    }
}
