//! Curves of displays and of television.

/// IEC 61966-2-1:1999, with the threshold as printed there (0.04045).
pub(super) mod srgb {
    pub(in super::super) fn decode(code: f64) -> f64 {
        if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        if linear <= 0.04045 / 12.92 { linear * 12.92 } else { (1.055 * linear.powf(1.0 / 2.4) - 0.055).max(0.04045) }
    }
}

/// ITU-R BT.709-6, item 1.2: the camera's curve and its inverse, which gives scene light.
pub(super) mod bt709 {
    /// The printed constants leave a gap of 0.0002 here; each piece is held to its side so that the curve is monotone.
    const CUT: f64 = 0.018;

    pub(in super::super) fn decode(code: f64) -> f64 {
        if code < 4.5 * CUT { code / 4.5 } else { ((code + 0.099) / 1.099).powf(1.0 / 0.45).max(CUT) }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        if linear < CUT { 4.5 * linear } else { (1.099 * linear.powf(0.45) - 0.099).max(4.5 * CUT) }
    }
}

/// A pure power, mirrored about zero.
pub(super) mod gamma {
    pub(in super::super) fn decode(code: f64, exponent: f64) -> f64 {
        code.abs().powf(exponent).copysign(code)
    }

    pub(in super::super) fn encode(linear: f64, exponent: f64) -> f64 {
        linear.abs().powf(1.0 / exponent).copysign(linear)
    }
}

/// SMPTE ST 2084:2014 (PQ), in units of 100 cd/m².
pub(super) mod pq {
    const M1: f64 = 2610.0 / 16384.0;
    const M2: f64 = 2523.0 / 4096.0 * 128.0;
    const C1: f64 = 3424.0 / 4096.0;
    const C2: f64 = 2413.0 / 4096.0 * 32.0;
    const C3: f64 = 2392.0 / 4096.0 * 32.0;
    /// 10 000 cd/m² in units of 100 cd/m².
    const PEAK: f64 = 100.0;

    /// Codes outside 0..1 mean nothing in PQ and are held to that range.
    pub(in super::super) fn decode(code: f64) -> f64 {
        let power = code.clamp(0.0, 1.0).powf(1.0 / M2);
        PEAK * ((power - C1).max(0.0) / (C2 - C3 * power)).powf(1.0 / M1)
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        let power = (linear / PEAK).clamp(0.0, 1.0).powf(M1);
        ((C1 + C2 * power) / (1.0 + C3 * power)).powf(M2)
    }
}

/// ITU-R BT.2100-2, table 5: hybrid log-gamma OETF and its inverse, scene light with 1 = peak.
pub(super) mod hlg {
    const A: f64 = 0.17883277;
    const B: f64 = 1.0 - 4.0 * A;
    /// `0.5 − A ln(4 A)`; the Recommendation prints 0.55991073.
    const C: f64 = 0.559910729529562;

    pub(in super::super) fn decode(code: f64) -> f64 {
        if code <= 0.5 {
            code.signum() * code * code / 3.0
        } else {
            ((((code - C) / A).exp() + B) / 12.0).max(1.0 / 12.0)
        }
    }

    pub(in super::super) fn encode(linear: f64) -> f64 {
        if linear <= 1.0 / 12.0 {
            (3.0 * linear.abs()).sqrt().copysign(linear)
        } else {
            (A * (12.0 * linear - B).ln() + C).max(0.5)
        }
    }
}

/// ITU-R BT.1886 (2011), annex 1: light of a flat-panel reference display whose black is `black` and whose white is
/// `white`, in their unit. The named encoding `bt1886` is this with black 0 and white 1, a pure power of 2.4.
///
/// Not the inverse of the BT.709 camera curve: that gives scene light, this gives what the display shows.
pub fn bt1886_light(code: f64, black: f64, white: f64) -> f64 {
    let (root_black, root_white) = (black.max(0.0).powf(1.0 / 2.4), white.max(0.0).powf(1.0 / 2.4));
    ((root_white - root_black) * code + root_black).max(0.0).powf(2.4)
}
