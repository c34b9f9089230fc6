//! The nodes of a transform, values scaled to 0..1.

use super::curves::{Exponent, Log};
use super::tables::{Table1d, Table3d};

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Node {
    Matrix { rows: [[f64; 3]; 3], offset: [f64; 3] },
    Range(Range),
    Table1d(Table1d),
    Table3d(Table3d),
    Log([Log; 3]),
    Exponent([Exponent; 3]),
    Cdl(Cdl),
}

impl Node {
    pub(super) fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Matrix { rows, offset } => {
                [0, 1, 2].map(|i| rows[i][0] * v[0] + rows[i][1] * v[1] + rows[i][2] * v[2] + offset[i])
            }
            Self::Range(range) => v.map(|v| range.apply(v)),
            Self::Table1d(table) => table.apply(v),
            Self::Table3d(table) => table.apply(v),
            Self::Log(curves) => [0, 1, 2].map(|i| curves[i].apply(v[i])),
            Self::Exponent(curves) => [0, 1, 2].map(|i| curves[i].apply(v[i])),
            Self::Cdl(cdl) => cdl.apply(v),
        }
    }
}

/// Scaling between bounds, with or without clamping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    pub(super) scale: f64,
    pub(super) offset: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Range {
    fn apply(&self, value: f64) -> f64 {
        (value * self.scale + self.offset).max(self.low).min(self.high)
    }
}

/// ASC CDL, version 1.2: slope, offset, power, saturation about BT.709 luma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cdl {
    pub(super) slope: [f64; 3],
    pub(super) offset: [f64; 3],
    pub(super) power: [f64; 3],
    pub(super) saturation: f64,
    pub(super) clamped: bool,
    pub(super) reverse: bool,
}

impl Cdl {
    fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        if self.reverse { self.backward(v) } else { self.forward(v) }
    }

    fn limited(&self, v: f64) -> f64 {
        if self.clamped { v.clamp(0.0, 1.0) } else { v }
    }

    /// Negative values pass a power unchanged where nothing is clamped.
    fn power(v: f64, exponent: f64) -> f64 {
        if v < 0.0 { v } else { v.powf(exponent) }
    }

    fn forward(&self, v: [f64; 3]) -> [f64; 3] {
        let graded = [0, 1, 2].map(|c| Self::power(self.limited(v[c] * self.slope[c] + self.offset[c]), self.power[c]));
        Self::saturated(graded, self.saturation).map(|v| self.limited(v))
    }

    fn backward(&self, v: [f64; 3]) -> [f64; 3] {
        let bounded = v.map(|v| self.limited(v));
        let graded = Self::saturated(bounded, 1.0 / self.saturation).map(|v| self.limited(v));
        [0, 1, 2].map(|c| self.limited((Self::power(graded[c], 1.0 / self.power[c]) - self.offset[c]) / self.slope[c]))
    }

    fn saturated(v: [f64; 3], by: f64) -> [f64; 3] {
        let luma = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
        v.map(|v| luma + by * (v - luma))
    }
}
