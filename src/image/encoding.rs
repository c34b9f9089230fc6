//! Code values → scene-linear light.

/// How a file's code values relate to light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// The values are proportional to light.
    SceneLinear,
    /// IEC 61966-2-1.
    Srgb,
    /// Pure power 2.2.
    Gamma22,
}

impl Encoding {
    /// Every encoding.
    pub const ALL: &'static [Self] = &[Self::SceneLinear, Self::Srgb, Self::Gamma22];

    /// The encoding of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|e| e.name() == name)
    }

    /// Its name in a sheet.
    pub fn name(self) -> &'static str {
        match self {
            Self::SceneLinear => "scene-linear",
            Self::Srgb => "srgb",
            Self::Gamma22 => "gamma2.2",
        }
    }

    /// Code value → linear.
    pub fn decode(self, code: f64) -> f64 {
        match self {
            Self::SceneLinear => code,
            Self::Srgb if code <= 0.04045 => code / 12.92,
            Self::Srgb => ((code + 0.055) / 1.055).powf(2.4),
            Self::Gamma22 => code.max(0.0).powf(2.2),
        }
    }

    /// Linear → code value.
    pub fn encode(self, linear: f64) -> f64 {
        match self {
            Self::SceneLinear => linear,
            Self::Srgb if linear <= 0.0031308 => linear * 12.92,
            Self::Srgb => 1.055 * linear.powf(1.0 / 2.4) - 0.055,
            Self::Gamma22 => linear.max(0.0).powf(1.0 / 2.2),
        }
    }

    /// The values are proportional to light already.
    pub fn is_linear(self) -> bool {
        self == Self::SceneLinear
    }
}
