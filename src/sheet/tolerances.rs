//! Tolerances: how far the CG may be off and still match.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::CheckId;

/// Tolerances by check; those left out keep their defaults.
///
/// The defaults are common practice (about a third and a quarter of a stop, an eighth correction gel); no source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Tolerances {
    /// For `highlight-direction`; default 5 deg. Either name may be used.
    pub direction: AngleTolerance,
    /// For `key-fill-ratio`; default 0.33 stops. Either name may be used.
    #[serde(rename = "key-fill")]
    pub key_fill: StopsTolerance,
    /// For `exposure`; default 0.25 stops.
    pub exposure: StopsTolerance,
    /// For `colour-balance`; default 0.1 stops and 20 mired. Either name may be used.
    pub colour: ColourTolerance,
    /// For `reference-drift`; default 0.1 stops.
    #[serde(rename = "reference-drift")]
    pub reference_drift: StopsTolerance,
    /// For `field-of-view`; default 0.25 deg of the horizontal field of view.
    #[serde(rename = "field-of-view")]
    pub field_of_view: AngleTolerance,
    /// For `scale`; default 5 % of the distance.
    pub scale: PercentTolerance,
    /// For `sun`; default 10 deg.
    pub sun: AngleTolerance,
    /// For `environment-rotation`; default 5 deg.
    #[serde(rename = "environment-rotation")]
    pub environment_rotation: AngleTolerance,
    /// For `light-gains`; default 0.33 stops.
    #[serde(rename = "light-gains")]
    pub light_gains: StopsTolerance,
    /// For `clean-plate`; default 0.5 px, 0.1 stops and 0.7 px of blur.
    #[serde(rename = "clean-plate")]
    pub clean_plate: CleanPlateTolerance,
    /// For `lens-distortion`; default 1 px.
    #[serde(rename = "lens-distortion")]
    pub lens_distortion: PixelTolerance,
}

impl Default for Tolerances {
    fn default() -> Self {
        Self {
            direction: AngleTolerance { deg: 5.0 },
            key_fill: StopsTolerance { stops: 0.33 },
            exposure: StopsTolerance { stops: 0.25 },
            colour: ColourTolerance::default(),
            reference_drift: StopsTolerance { stops: 0.1 },
            field_of_view: AngleTolerance { deg: 0.25 },
            scale: PercentTolerance { percent: 5.0 },
            sun: AngleTolerance { deg: 10.0 },
            environment_rotation: AngleTolerance { deg: 5.0 },
            light_gains: StopsTolerance { stops: 0.33 },
            clean_plate: CleanPlateTolerance::default(),
            lens_distortion: PixelTolerance { px: 1.0 },
        }
    }
}

/// One number among the tolerances, by its names.
pub(crate) struct NamedTolerance {
    /// In a sheet: `direction.deg`.
    pub(crate) in_sheet: &'static str,
    /// As an option; empty where only a sheet can give it.
    pub(crate) option: &'static str,
    /// The check that uses it.
    pub(crate) check: CheckId,
    of: fn(&mut Tolerances) -> &mut f64,
}

impl NamedTolerance {
    const fn new(
        in_sheet: &'static str,
        option: &'static str,
        check: CheckId,
        of: fn(&mut Tolerances) -> &mut f64,
    ) -> Self {
        Self { in_sheet, option, check, of }
    }

    /// The number in some tolerances, to be read or changed.
    pub(crate) fn of<'a>(&self, tolerances: &'a mut Tolerances) -> &'a mut f64 {
        (self.of)(tolerances)
    }

    /// Key of the type that holds it: `direction`.
    fn key(&self) -> &'static str {
        self.in_sheet.split_once('.').map_or(self.in_sheet, |(key, _)| key)
    }
}

/// Every tolerance; of a check with several the one first that its name stands for.
pub(crate) static NAMED_TOLERANCES: [NamedTolerance; 15] = [
    NamedTolerance::new("direction.deg", "direction", CheckId::HighlightDirection, |t| &mut t.direction.deg),
    NamedTolerance::new("key-fill.stops", "key-fill", CheckId::KeyFillRatio, |t| &mut t.key_fill.stops),
    NamedTolerance::new("exposure.stops", "exposure", CheckId::Exposure, |t| &mut t.exposure.stops),
    NamedTolerance::new("colour.stops", "colour", CheckId::ColourBalance, |t| &mut t.colour.stops),
    NamedTolerance::new("colour.mired", "colour-mired", CheckId::ColourBalance, |t| &mut t.colour.mired),
    NamedTolerance::new("reference-drift.stops", "reference-drift", CheckId::ReferenceDrift, |t| {
        &mut t.reference_drift.stops
    }),
    NamedTolerance::new("field-of-view.deg", "field-of-view", CheckId::FieldOfView, |t| &mut t.field_of_view.deg),
    NamedTolerance::new("scale.percent", "scale", CheckId::Scale, |t| &mut t.scale.percent),
    NamedTolerance::new("sun.deg", "sun", CheckId::Sun, |t| &mut t.sun.deg),
    NamedTolerance::new("environment-rotation.deg", "environment-rotation", CheckId::EnvironmentRotation, |t| {
        &mut t.environment_rotation.deg
    }),
    NamedTolerance::new("light-gains.stops", "light-gains", CheckId::LightGains, |t| &mut t.light_gains.stops),
    NamedTolerance::new("clean-plate.px", "clean-plate", CheckId::CleanPlate, |t| &mut t.clean_plate.px),
    NamedTolerance::new("clean-plate.stops", "", CheckId::CleanPlate, |t| &mut t.clean_plate.stops),
    NamedTolerance::new("clean-plate.blur_px", "", CheckId::CleanPlate, |t| &mut t.clean_plate.blur_px),
    NamedTolerance::new("lens-distortion.px", "lens-distortion", CheckId::LensDistortion, |t| {
        &mut t.lens_distortion.px
    }),
];

/// Tolerances to which a sheet may also give the name of their check: the key of the type, then the check.
pub(super) fn names_of_checks() -> impl Iterator<Item = [&'static str; 2]> {
    let own = NAMED_TOLERANCES.iter().filter(|named| named.key() == named.option);
    own.map(|named| [named.key(), named.check.known_name()]).filter(|[key, check]| key != check)
}

/// Largest angle that still matches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AngleTolerance {
    /// Angle, degrees.
    #[schemars(extend("exclusiveMinimum" = 0, "maximum" = 180))]
    pub deg: f64,
}

/// Largest relative difference of a length that still matches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PercentTolerance {
    /// Relative difference, percent.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub percent: f64,
}

/// Largest difference in light that still matches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StopsTolerance {
    /// Difference in light, stops.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub stops: f64,
}

/// Largest distance in the picture that still matches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PixelTolerance {
    /// Distance, pixels of the plate.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub px: f64,
}

/// How far a clean plate may be off (common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CleanPlateTolerance {
    /// Misalignment, root mean square over the frame, pixels of the plate.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub px: f64,
    /// Difference in exposure, and in colour between two channels, stops.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub stops: f64,
    /// Difference in focus: standard deviation of the blur between the two, pixels of the plate.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub blur_px: f64,
}

impl Default for CleanPlateTolerance {
    fn default() -> Self {
        Self { px: 0.5, stops: 0.1, blur_px: 0.7 }
    }
}

/// Largest difference in colour that still matches.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct ColourTolerance {
    /// Difference between two channels, stops.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub stops: f64,
    /// Difference in colour temperature, mired (a million over kelvin).
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub mired: f64,
}

impl Default for ColourTolerance {
    fn default() -> Self {
        Self { stops: 0.1, mired: 20.0 }
    }
}
