//! Transfer encodings: code values ↔ linear light.
//!
//! Traps worth knowing:
//! - `bt709` is the inverse of the *camera* curve and gives scene light; `bt1886` is the *display* curve: code 0.1 is
//!   0.022 by the one and 0.004 by the other.
//! - LogC3 changes with the exposure index: code 0.5 is 0.484, 0.498, 0.513, 0.530 at EI 200, 400, 800, 1600.
//! - Cineon with and without its black offset differ below 0.02 of white; without it, nothing encodes zero.
//! - Codes are full scale (`code / 1023`), footroom included; a file expanded from legal to full range reads wrong.
//! - Display-referred codes say what a monitor shows, not what was in front of the camera.

mod camera;
mod display;
mod log_curve;
mod parameters;
mod table;

pub use display::bt1886_light;

use camera::{acescc, apple_log, n_log};
use display::{bt709, gamma, hlg, pq, srgb};
use table::{Curve, ROWS, Row};

/// Pixels are stored as 32-bit floats, so no decoded value may exceed what those hold.
const LARGEST: f64 = f32::MAX as f64;

/// How linear light was turned into code values.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash)]
pub enum Encoding {
    /// Linear light, no curve.
    SceneLinear,
    /// Display light, IEC 61966-2-1:1999.
    Srgb,
    /// Scene light, inverse of the camera curve of ITU-R BT.709-6 (2015); not the display curve, that is bt1886.
    Bt709,
    /// Display light, ITU-R BT.1886 (2011) with black 0: a power of 2.4.
    Bt1886,
    /// Display light, a power of 2.2 (common practice, no source).
    Gamma22,
    /// Display light, a power of 2.6 as in SMPTE RP 431-2:2011.
    Gamma26,
    /// Display light in units of 100 cd/m², SMPTE ST 2084:2014.
    Pq,
    /// Scene light with 1 = peak, inverse OETF of ITU-R BT.2100-2 (2018), table 5.
    Hlg,
    /// Academy S-2014-003, ACEScc (2014).
    AcesCc,
    /// Academy S-2016-001, ACEScct (2016).
    AcesCct,
    /// Film log, code 95 = black, 685 = 1, 0.002 density a step (Kodak Cineon, from memory), black offset taken out.
    Cineon,
    /// Film log, 685 = 1, 0.002 density a step (Kodak Cineon, from memory), black offset left in: darkest is 0.005.
    CineonNoOffset,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 160.
    LogC3Ei160,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 200.
    LogC3Ei200,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 250.
    LogC3Ei250,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 320.
    LogC3Ei320,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 400.
    LogC3Ei400,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 500.
    LogC3Ei500,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 640.
    LogC3Ei640,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 800.
    LogC3,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1000.
    LogC3Ei1000,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1280.
    LogC3Ei1280,
    /// ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1600.
    LogC3Ei1600,
    /// ARRI, LogC4 Logarithmic Color Space Specification (2022).
    LogC4,
    /// Sony, S-Log2 technical paper (2012); 18 % grey = 0.18.
    SLog2,
    /// Sony, Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3 (2014).
    SLog3,
    /// Canon, Canon Log gamma curves white paper, version 1.2 (2018).
    CLog,
    /// Canon, Canon Log gamma curves white paper, version 1.2 (2018).
    CLog2,
    /// Canon, Canon Log gamma curves white paper, version 1.2 (2018).
    CLog3,
    /// Panasonic, VARICAM V-Log/V-Gamut reference manual (2014).
    VLog,
    /// RED, White Paper on REDWideGamutRGB and Log3G10, version 3 (2017).
    Log3G10,
    /// RED REDLogFilm: Cineon's curve with its black offset taken out (from memory).
    RedLogFilm,
    /// Fujifilm, F-Log data sheet 1.0 (2016).
    FLog,
    /// Fujifilm, F-Log2 data sheet 1.0 (2022).
    FLog2,
    /// Nikon, N-Log specification document 1.0.0 (2018).
    NLog,
    /// DJI, White Paper on D-Log and D-Gamut (2017).
    DLog,
    /// Leica, L-Log reference manual 1.0 (2022).
    LLog,
    /// Apple, Apple Log Profile white paper (2023).
    AppleLog,
    /// Panavision Panalog: code 64 = black, 681 = 1 (from memory).
    Panalog,
    /// Thomson ViperLog: 500 codes a decade, 1023 = 1 (from memory); darkest is 0.009.
    ViperLog,
    /// Blackmagic Design, Generation 5 Color Science technical reference (2021).
    FilmGen5,
}

impl Encoding {
    /// Every encoding.
    pub const ALL: &'static [Self] = &table::ALL;

    /// The encoding of that name; case, spaces, dots, hyphens and underscores do not matter, and the usual other names
    /// are known.
    ///
    /// ```
    /// use plateproof::image::encoding::Encoding;
    /// assert_eq!(Encoding::parse("S_Log 3"), Some(Encoding::SLog3));
    /// assert_eq!(Encoding::parse("brine"), None);
    /// ```
    pub fn parse(name: &str) -> Option<Self> {
        let folded = fold(name);
        let named = |row: &&Row| fold(row.name) == folded || row.aliases.contains(&folded.as_str());
        ROWS.iter().find(named).map(|row| row.encoding)
    }

    /// The name that sheets and reports use, in lower-case words joined by hyphens.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// The published source of the formula, in one line, and what its values mean where that is not scene light with
    /// 18 % grey at 0.18.
    pub fn note(self) -> &'static str {
        self.row().note
    }

    /// The values are linear light already.
    pub fn is_linear(self) -> bool {
        self == Self::SceneLinear
    }

    /// Decoding gives the light of a display, not of the scene.
    pub fn is_display_referred(self) -> bool {
        matches!(self.row().curve, Curve::Srgb | Curve::Gamma(_) | Curve::Pq)
    }

    /// What the largest code value decodes to.
    pub fn peak(self) -> f64 {
        self.decode(1.0)
    }

    /// Linear light of a code value, where 0..1 is the full scale of the file's integers.
    ///
    /// Camera curves give scene light in reflectance: 18 % grey is 0.18. `hlg` and `bt709` give scene light with 1 =
    /// peak, `srgb`, `bt1886` and the gammas display light with 1 = white, `pq` display light with 1 = 100 cd/m².
    /// Codes outside 0..1 are extrapolated where the curve goes on, and held where it does not; the result is finite
    /// for every finite or infinite code, and NaN for NaN.
    ///
    /// ```
    /// use plateproof::image::encoding::Encoding;
    /// assert!((Encoding::LogC3.decode(0.391007) - 0.18).abs() < 1e-5);
    /// ```
    pub fn decode(self, code: f64) -> f64 {
        if code.is_nan() {
            return code; // `max` and `min` within the curves would turn it into a number
        }
        let light = match &self.row().curve {
            Curve::Linear => code,
            Curve::Srgb => srgb::decode(code),
            Curve::Bt709 => bt709::decode(code),
            Curve::Gamma(exponent) => gamma::decode(code, *exponent),
            Curve::Pq => pq::decode(code),
            Curve::Hlg => hlg::decode(code),
            Curve::AcesCc => acescc::decode(code),
            Curve::Log(curve) => curve.decode(code),
            Curve::Mirrored(curve) => curve.decode(code),
            Curve::NLog => n_log::decode(code),
            Curve::AppleLog => apple_log::decode(code),
        };
        light.clamp(-LARGEST, LARGEST)
    }

    /// The code value of a linear light, the inverse of [`Self::decode`].
    ///
    /// Light too dark for the curve encodes as its lowest value, never as minus infinity; NaN stays
    /// NaN.
    pub fn encode(self, linear: f64) -> f64 {
        if linear.is_nan() {
            return linear;
        }
        let linear = linear.clamp(-LARGEST, LARGEST);
        match &self.row().curve {
            Curve::Linear => linear,
            Curve::Srgb => srgb::encode(linear),
            Curve::Bt709 => bt709::encode(linear),
            Curve::Gamma(exponent) => gamma::encode(linear, *exponent),
            Curve::Pq => pq::encode(linear),
            Curve::Hlg => hlg::encode(linear),
            Curve::AcesCc => acescc::encode(linear),
            Curve::Log(curve) => curve.encode(linear),
            Curve::Mirrored(curve) => curve.encode(linear),
            Curve::NLog => n_log::encode(linear),
            Curve::AppleLog => apple_log::encode(linear),
        }
    }

    fn row(self) -> &'static Row {
        // In range and in order: `table::ALL` checks it when the crate is compiled.
        &ROWS[self as usize]
    }
}

impl std::fmt::Display for Encoding {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(self.name())
    }
}

/// Lower case without separators, so that `S-Log3`, `s_log3` and `slog3` are one name.
fn fold(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests;
