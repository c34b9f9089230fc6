//! Quantities that are easily mixed up carry their unit in the type.
//!
//! Angles inside a function are plain `f64` with `_rad` or `_deg` in the name.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A ratio of light on the photographic scale: 1 stop is a factor of two.
///
/// `Stops(1.0)` is twice, `Stops(-1.0)` half.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Stops(pub f64);

impl Stops {
    /// Stops from `reference` up to `value`; `None` unless both are positive and finite.
    ///
    /// ```
    /// use plateproof::Stops;
    /// assert_eq!(Stops::from_ratio(0.36, 0.18), Some(Stops(1.0)));
    /// assert_eq!(Stops::from_ratio(0.0, 0.18), None);
    /// ```
    pub fn from_ratio(value: f64, reference: f64) -> Option<Self> {
        let usable = value > 0.0 && reference > 0.0 && value.is_finite() && reference.is_finite();
        usable.then(|| Self((value / reference).log2()))
    }

    /// The linear factor, `2^stops`.
    pub fn ratio(self) -> f64 {
        self.0.exp2()
    }
}

impl std::ops::Add for Stops {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::ops::Sub for Stops {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl std::ops::Neg for Stops {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

/// Correlated colour temperature in kelvin.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Kelvin(pub f64);

/// Reciprocal megakelvin: `10⁶ / T`. Equal steps look about equally large (Priest 1932).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Mired(pub f64);

impl Kelvin {
    /// The same temperature in mired; `None` for zero, negative or non-finite temperatures.
    ///
    /// ```
    /// use plateproof::Kelvin;
    /// assert!((Kelvin(5000.0).to_mired().unwrap().0 - 200.0).abs() < 1e-12);
    /// ```
    pub fn to_mired(self) -> Option<Mired> {
        (self.0 > 0.0 && self.0.is_finite()).then(|| Mired(1e6 / self.0))
    }
}

impl Mired {
    /// The same temperature in kelvin; `None` for zero, negative or non-finite values.
    pub fn to_kelvin(self) -> Option<Kelvin> {
        (self.0 > 0.0 && self.0.is_finite()).then(|| Kelvin(1e6 / self.0))
    }
}

/// A measured number with its one-standard-deviation uncertainty, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The measured value.
    pub value: f64,
    /// One standard deviation, same unit, never negative.
    pub sd: f64,
}

impl Estimate {
    /// A value and its standard deviation.
    pub fn new(value: f64, sd: f64) -> Self {
        Self { value, sd }
    }

    /// Adds an independent error to the uncertainty (root of the sum of squares).
    #[must_use]
    pub fn widened(self, sd: f64) -> Self {
        Self::new(self.value, self.sd.hypot(sd))
    }

    /// `self − other` for independent errors.
    #[must_use]
    pub fn minus(self, other: Self) -> Self {
        Self::new(self.value - other.value, self.sd.hypot(other.sd))
    }
}

/// Wraps an angle in degrees into (−180, 180].
///
/// ```
/// assert_eq!(plateproof::wrap_deg(190.0), -170.0);
/// assert_eq!(plateproof::wrap_deg(-180.0), 180.0);
/// ```
pub fn wrap_deg(angle_deg: f64) -> f64 {
    let wrapped = angle_deg.rem_euclid(360.0);
    if wrapped > 180.0 { wrapped - 360.0 } else { wrapped }
}
