//! The form that most log curves share: a logarithm above, a straight line below.
//!
//! `code = scale · log(gain · linear + shift) + offset`, and near black a line, so that noise around zero survives.

/// Base of a curve's logarithm, as its publication writes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Base {
    Two,
    E,
    Ten,
}

impl Base {
    fn log(self, value: f64) -> f64 {
        match self {
            Self::Two => value.log2(),
            Self::E => value.ln(),
            Self::Ten => value.log10(),
        }
    }

    fn power(self, exponent: f64) -> f64 {
        match self {
            Self::Two => exponent.exp2(),
            Self::E => exponent.exp(),
            Self::Ten => 10_f64.powf(exponent),
        }
    }

    fn natural_log(self) -> f64 {
        match self {
            Self::Two => std::f64::consts::LN_2,
            Self::E => 1.0,
            Self::Ten => std::f64::consts::LN_10,
        }
    }
}

/// What the curve does near black.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Toe {
    /// The logarithm goes all the way down.
    None,
    /// `code = slope · linear + intercept` below `cut` (scene-linear).
    Line { cut: f64, slope: f64, intercept: f64 },
    /// The logarithm's tangent at code 0, below it.
    TangentAtZero,
}

/// Parameters of one curve; codes and linear values are 0..1 full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LogCurve {
    pub(super) base: Base,
    pub(super) gain: f64,
    pub(super) shift: f64,
    pub(super) scale: f64,
    pub(super) offset: f64,
    pub(super) toe: Toe,
}

/// Smallest argument of a logarithm: what lies at or below zero encodes as a very low code, not as minus infinity.
const SMALLEST_ARGUMENT: f64 = 1e-10;

impl LogCurve {
    pub(super) fn decode(&self, code: f64) -> f64 {
        let Some(line) = self.line() else { return self.decode_log(code) };
        if code < self.encode_log(line.cut) { line.linear(code).min(line.cut) } else { self.decode_log(code) }
    }

    pub(super) fn encode(&self, linear: f64) -> f64 {
        let Some(line) = self.line() else { return self.encode_log(linear) };
        // Published toes meet the logarithm only to the digits printed. The line is held to its own side of the cut,
        // here and when decoding, so that the curve stays monotone across that gap.
        if linear < line.cut { line.code(linear).min(self.encode_log(line.cut)) } else { self.encode_log(linear) }
    }

    fn decode_log(&self, code: f64) -> f64 {
        (self.base.power((code - self.offset) / self.scale) - self.shift) / self.gain
    }

    fn encode_log(&self, linear: f64) -> f64 {
        self.scale * self.base.log((self.gain * linear + self.shift).max(SMALLEST_ARGUMENT)) + self.offset
    }

    fn line(&self) -> Option<Line> {
        match self.toe {
            Toe::None => None,
            Toe::Line { cut, slope, intercept } => Some(Line { cut, slope, intercept }),
            Toe::TangentAtZero => Some(self.tangent_at_zero()),
        }
    }

    fn tangent_at_zero(&self) -> Line {
        let cut = self.decode_log(0.0);
        let slope = self.scale * self.gain / (self.base.natural_log() * (self.gain * cut + self.shift));
        Line { cut, slope, intercept: -slope * cut }
    }
}

struct Line {
    cut: f64,
    slope: f64,
    intercept: f64,
}

impl Line {
    fn code(&self, linear: f64) -> f64 {
        self.slope * linear + self.intercept
    }

    fn linear(&self, code: f64) -> f64 {
        (code - self.intercept) / self.slope
    }
}
