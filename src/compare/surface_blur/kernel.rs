//! How a rough surface spreads the light of a point, and what that does to a profile.

use std::f64::consts::PI;

/// Rings of equal energy and points a ring by which a spread is summed.
const RINGS: usize = 12;
const POINTS: usize = 12;

/// Shape of the spread. Its size is always the radius within which half of the light falls.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Slopes that are normally distributed (Beckmann & Spizzichino 1963): half within 1.18 standard deviations.
    Normal,
    /// Long-tailed slopes (GGX; Walter, Marschner, Li & Torrance 2007, equation 33): slopes are below α for half of
    /// the surface, and a mirrored ray turns by twice the slope.
    LongTailed,
}

impl Shape {
    pub(super) const ALL: [Self; 2] = [Self::Normal, Self::LongTailed];

    /// The radius within which the part `energy` of the light falls, in half-light radii.
    fn radius(self, energy: f64) -> f64 {
        match self {
            Self::Normal => (-(1.0 - energy).log2()).sqrt(),
            Self::LongTailed => (energy / (1.0 - energy)).sqrt(),
        }
    }

    /// The part of the light within `radius` half-light radii.
    pub(super) fn energy_within(self, radius: f64) -> f64 {
        match self {
            Self::Normal => 1.0 - (-radius * radius).exp2(),
            Self::LongTailed => radius * radius / (1.0 + radius * radius),
        }
    }
}

/// Values at `(i + ½) step` from the middle of something round.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    pub(super) step: f64,
    pub(super) values: Vec<f64>,
}

impl Profile {
    /// Linear between the middles of the steps, level beyond both ends.
    pub(super) fn at(&self, radius: f64) -> f64 {
        let place = (radius / self.step - 0.5).max(0.0);
        let (first, part) = (place as usize, place.fract());
        let value = |i: usize| self.values.get(i).or(self.values.last()).copied().unwrap_or(0.0);
        value(first) * (1.0 - part) + value(first + 1) * part
    }

    /// The same of something `scale` times as large.
    pub(super) fn larger(&self, scale: f64) -> Vec<f64> {
        self.radii().map(|r| self.at(r / scale)).collect()
    }

    /// The same spread by a surface of that half-light radius.
    pub(super) fn spread(&self, shape: Shape, half_light: f64) -> Vec<f64> {
        let offsets: Vec<[f64; 2]> = (0..RINGS * POINTS)
            .map(|i| {
                let radius = half_light * shape.radius(((i / POINTS) as f64 + 0.5) / RINGS as f64);
                // Half a circle is enough: the profile is round. Rings are turned against each other.
                let turn = PI * ((i % POINTS) as f64 + 0.5 * ((i / POINTS) % 2) as f64 + 0.25) / POINTS as f64;
                [radius * turn.cos(), radius * turn.sin()]
            })
            .collect();
        let mean = |r: f64| offsets.iter().map(|o| self.at((r + o[0]).hypot(o[1]))).sum::<f64>() / offsets.len() as f64;
        self.radii().map(mean).collect()
    }

    fn radii(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.values.len()).map(|i| (i as f64 + 0.5) * self.step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_the_light_falls_within_the_half_light_radius() {
        for shape in Shape::ALL {
            approx::assert_relative_eq!(shape.radius(0.5), 1.0, max_relative = 1e-12);
            approx::assert_relative_eq!(shape.energy_within(shape.radius(0.8)), 0.8, max_relative = 1e-12);
        }
    }

    /// Closed form: at its middle a disc keeps the light that falls within its radius.
    #[test]
    fn the_middle_of_a_spread_disc_keeps_what_falls_within_it() {
        let disc = Profile { step: 0.02, values: (0..200).map(|i| f64::from(u8::from(i < 50))).collect() };
        for shape in Shape::ALL {
            let kept = disc.spread(shape, 0.8)[0];
            assert!((kept - shape.energy_within(1.0 / 0.8)).abs() < 1.0 / RINGS as f64, "{shape:?} {kept}");
        }
    }
}
