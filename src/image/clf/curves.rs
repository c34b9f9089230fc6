//! Logarithms and exponents of the Common LUT Format.

/// Smallest argument of a logarithm: the smallest normal 32-bit float, as the specification asks.
const SMALLEST: f64 = f32::MIN_POSITIVE as f64;

/// A logarithm or its inverse, for one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Log {
    pub(super) base: f64,
    pub(super) lin_slope: f64,
    pub(super) lin_offset: f64,
    pub(super) log_slope: f64,
    pub(super) log_offset: f64,
    /// Below this light the curve is a line; and that line's slope where it is not the tangent.
    pub(super) lin_break: Option<f64>,
    pub(super) line_slope: Option<f64>,
    /// Light to logarithm, or back.
    pub(super) to_log: bool,
}

impl Log {
    /// The plain logarithm to a base.
    pub(super) fn plain(base: f64, to_log: bool) -> Self {
        Self {
            base,
            lin_slope: 1.0,
            lin_offset: 0.0,
            log_slope: 1.0,
            log_offset: 0.0,
            lin_break: None,
            line_slope: None,
            to_log,
        }
    }

    /// All its numbers make sense.
    pub(super) fn is_sound(&self) -> bool {
        let inner = self.lin_break.is_none_or(|at| self.lin_slope * at + self.lin_offset > 0.0);
        let line = self.line_slope.is_none_or(|slope| slope != 0.0);
        self.base > 0.0 && self.base.ln() != 0.0 && self.lin_slope != 0.0 && self.log_slope != 0.0 && inner && line
    }

    pub(super) fn apply(&self, value: f64) -> f64 {
        if self.to_log { self.forward(value) } else { self.backward(value) }
    }

    fn curve(&self, light: f64) -> f64 {
        let inner = (self.lin_slope * light + self.lin_offset).max(SMALLEST);
        self.log_slope * inner.ln() / self.base.ln() + self.log_offset
    }

    /// Slope and offset of the line below the break.
    fn line(&self, at: f64) -> [f64; 2] {
        let tangent = || self.log_slope * self.lin_slope / ((self.lin_slope * at + self.lin_offset) * self.base.ln());
        let slope = self.line_slope.unwrap_or_else(tangent);
        [slope, self.curve(at) - slope * at]
    }

    fn forward(&self, light: f64) -> f64 {
        match self.lin_break {
            Some(at) if light <= at => {
                let [slope, offset] = self.line(at);
                slope * light + offset
            }
            _ => self.curve(light),
        }
    }

    fn backward(&self, code: f64) -> f64 {
        if let Some(at) = self.lin_break
            && code <= self.curve(at)
        {
            let [slope, offset] = self.line(at);
            return (code - offset) / slope;
        }
        (self.base.powf((code - self.log_offset) / self.log_slope) - self.lin_offset) / self.lin_slope
    }
}

/// What an exponent does with values below zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Negative {
    Cut,
    Mirror,
    Pass,
}

/// A power, or a power with a straight foot (`offset`), for one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Exponent {
    pub(super) exponent: f64,
    pub(super) offset: Option<f64>,
    pub(super) negative: Negative,
    pub(super) reverse: bool,
}

impl Exponent {
    pub(super) fn is_sound(&self) -> bool {
        let foot = self.offset.is_none_or(|offset| offset >= 0.0 && (offset == 0.0 || self.exponent > 1.0));
        self.exponent > 0.0 && foot
    }

    pub(super) fn apply(&self, value: f64) -> f64 {
        match (self.offset, self.negative) {
            (_, Negative::Mirror) => value.signum() * self.positive(value.abs()),
            (None, Negative::Pass) if value < 0.0 => value,
            (None, _) => self.positive(value.max(0.0)),
            (Some(_), _) => self.positive(value),
        }
    }

    fn positive(&self, value: f64) -> f64 {
        let gamma = self.exponent;
        let Some(offset) = self.offset.filter(|offset| *offset > 0.0) else {
            return value.max(0.0).powf(if self.reverse { 1.0 / gamma } else { gamma });
        };
        let foot_value = ((offset * gamma) / ((gamma - 1.0) * (1.0 + offset))).powf(gamma);
        let slope = (gamma - 1.0) / offset * foot_value;
        if self.reverse {
            let bent = || (1.0 + offset) * value.powf(1.0 / gamma) - offset;
            return if value >= foot_value { bent() } else { value / slope };
        }
        let bent = || ((value + offset) / (1.0 + offset)).powf(gamma);
        if value >= offset / (gamma - 1.0) { bent() } else { value * slope }
    }
}
