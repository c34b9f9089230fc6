//! Log curves whose shape is not "logarithm with a straight toe".

/// Academy S-2014-003 (ACEScc): base-2 logarithm whose toe is a logarithm too.
pub(super) mod acescc {
    const SPAN: f64 = 17.52;
    const MIDDLE: f64 = 9.72;
    /// 2⁻¹⁵, below which the toe begins.
    const CUT: f64 = 1.0 / 32_768.0;
    /// 2⁻¹⁶, what zero encodes as.
    const ZERO: f64 = 1.0 / 65_536.0;

    pub(in super::super) fn decode(code: f64) -> f64 {
        let light = (code * SPAN - MIDDLE).exp2();
        if light < CUT { ((light - ZERO) * 2.0).max(0.0) } else { light }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        let light = if linear < CUT { ZERO + linear.max(0.0) * 0.5 } else { linear };
        (light.log2() + MIDDLE) / SPAN
    }
}

/// Canon's curves: one logarithm for light above zero and the same, mirrored, below; Canon Log 3 has a line between.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MirroredLog {
    pub(super) gain: f64,
    pub(super) scale: f64,
    pub(super) offset_below: f64,
    pub(super) offset_above: f64,
    /// The line in the middle; half its width is 0 where there is none.
    pub(super) half_width: f64,
    pub(super) slope: f64,
    pub(super) intercept: f64,
}

/// These curves are published in units where 0.9 reflectance is 1 (Canon white papers: "90 % reflectance card").
const CANON_WHITE: f64 = 0.9;

impl MirroredLog {
    pub(super) fn decode(&self, code: f64) -> f64 {
        let (low, high) = self.line_codes();
        let relative = if code < low {
            ((1.0 - self.power(self.offset_below - code)) / self.gain).min(-self.half_width)
        } else if code > high {
            ((self.power(code - self.offset_above) - 1.0) / self.gain).max(self.half_width)
        } else if self.half_width > 0.0 {
            (code - self.intercept) / self.slope
        } else {
            0.0
        };
        CANON_WHITE * relative
    }

    pub(super) fn encode(&self, linear: f64) -> f64 {
        let relative = linear / CANON_WHITE;
        let (low, high) = self.line_codes();
        if relative < -self.half_width {
            (self.offset_below - self.scale * (1.0 - self.gain * relative).log10()).min(low)
        } else if relative > self.half_width {
            (self.offset_above + self.scale * (1.0 + self.gain * relative).log10()).max(high)
        } else {
            self.slope * relative + self.intercept
        }
    }

    /// The codes between which the line holds.
    fn line_codes(&self) -> (f64, f64) {
        (self.intercept - self.slope * self.half_width, self.intercept + self.slope * self.half_width)
    }

    fn power(&self, code: f64) -> f64 {
        10_f64.powf(code / self.scale)
    }
}

/// Nikon, N-Log specification document 1.0.0 (2018): a cube root below, a logarithm above.
pub(super) mod n_log {
    const CUT: f64 = 0.328;
    const ROOT_SCALE: f64 = 650.0 / 1023.0;
    const ROOT_SHIFT: f64 = 0.0075;
    const LOG_SCALE: f64 = 150.0 / 1023.0;
    const LOG_OFFSET: f64 = 619.0 / 1023.0;

    pub(in super::super) fn decode(code: f64) -> f64 {
        if code < cut_code() { (code / ROOT_SCALE).powi(3) - ROOT_SHIFT } else { log_light(code).max(CUT) }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        if linear < CUT {
            ROOT_SCALE * (linear + ROOT_SHIFT).cbrt()
        } else {
            (LOG_SCALE * linear.ln() + LOG_OFFSET).max(cut_code())
        }
    }

    fn cut_code() -> f64 {
        ROOT_SCALE * (CUT + ROOT_SHIFT).cbrt()
    }

    fn log_light(code: f64) -> f64 {
        ((code - LOG_OFFSET) / LOG_SCALE).exp()
    }
}

/// Apple, Apple Log Profile white paper (2023): a parabola below, a logarithm above, code 0 for anything darker.
pub(super) mod apple_log {
    const DARKEST: f64 = -0.05641088;
    const CUT: f64 = 0.01;
    const CURVATURE: f64 = 47.28711236;
    const SHIFT: f64 = 0.00964052;
    const SCALE: f64 = 0.08550479;
    const OFFSET: f64 = 0.69336945;

    pub(in super::super) fn decode(code: f64) -> f64 {
        if code < cut_code() {
            (code.max(0.0) / CURVATURE).sqrt() + DARKEST
        } else {
            (((code - OFFSET) / SCALE).exp2() - SHIFT).max(CUT)
        }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        if linear < CUT {
            CURVATURE * (linear - DARKEST).max(0.0).powi(2)
        } else {
            (SCALE * (linear + SHIFT).log2() + OFFSET).max(cut_code())
        }
    }

    fn cut_code() -> f64 {
        CURVATURE * (CUT - DARKEST).powi(2)
    }
}
