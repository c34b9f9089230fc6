//! One thing to do, with the numbers that its sentence needs. Directions are camera axes, gains multiply scene-linear
//! light.

use nalgebra::Vector3;

use super::Ask;
use crate::findings::{Action, CheckId, LightSeen, Place};
use crate::sphere::azimuth_elevation_deg;

/// One thing to do.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Step {
    /// A request without numbers.
    Ask(Ask),
    /// A sentence from elsewhere: the remedy of an error, or of a report that was read.
    Told { words: String, action: Option<Action> },
    /// Another finding has to be mended first.
    Wait(Waits),
    /// A file is likely to be read in a wrong encoding or layer.
    WrongEncoding([ReadAs; 2]),
    /// The CG's light is the photograph's to this power.
    EncodedLight { slope: f64 },
    /// The CG's lights end at display white.
    CutAtWhite,
    /// The CG shows the photograph's surroundings mirrored or upside down.
    Swapped(Swap),

    /// The CG's key stands elsewhere than the photographed one.
    TurnKey(Turn),
    /// The photographed key has no counterpart.
    AddKey { light: LightSeen },
    /// The CG's key has no counterpart.
    RemoveKey { light: LightSeen },
    /// The CG's strongest light is not the strongest photographed one.
    KeyGains(Vec<(Place, f64)>),
    /// The CG lacks a light.
    AddLight { light: LightSeen, strength: Strength },
    /// The CG has a light too many.
    RemoveLight { light: LightSeen },
    /// The photograph is clipped where the CG reaches only part of that level.
    LookForLamp { at: Place },

    /// The CG's contrast is off by so much, + = too contrasty. The gains may hold with the exposure corrected.
    Contrast { off_stops: f64, with_exposure: bool, cure: ContrastCure },
    /// All of the CG is off by so much, + = too bright.
    Multiply { off_stops: f64 },
    /// Lamps and surroundings are off by different amounts; the surroundings, where they are outside tolerance.
    LampsAndSurroundings { illuminance_stops: f64, surroundings_stops: Option<f64>, lamps_gain: Option<f64> },
    /// The CG's colour is off, green = 1; + = so much too warm.
    MultiplyRgb { rgb: [f64; 3], warm_mired: Option<f64> },
    /// Heading, tilt and roll, degrees; `up` as in the action.
    TurnEnvironment { turn: [f64; 3], up: &'static str, leaves: Remaining },
    /// The gain of each light layer.
    LayerGains { changes: Vec<LayerChange>, factors: Vec<(Vec<String>, [f64; 3])>, leaves: Remaining },

    /// The CG sphere stands elsewhere; up to so much of the key's angle may come from it. The offset is the CG sphere's
    /// place minus the photographed one's, where it is known: to frame right, up the frame, towards the camera.
    PlaceCgSphere { up_to_deg: f64, cg_offset_mm: Option<[f64; 3]> },
    /// The CG camera sees more or less than the plate's.
    SetCgView { fov_deg: f64, lens_on_back_mm: Option<[f64; 2]>, told_by: String, width_ratio: f64, slip: Option<Slip> },

    /// The sheet does not say what distortion the CG has.
    StateDistortion(Lens),
    /// The CG is distorted later.
    DistortInComp(Lens),
    /// The CG does not follow the lens, which pulls the corner by so much.
    Distort { pull_percent: f64, rendered_without: bool, lens: Lens },

    /// The key is not where the sun was: place and time, and who says so.
    CheckSunNotes { place_by: String, time: String },
    /// The clock is an hour off.
    CheckClock { time_by: String },
    /// Under another heading the key would be the sun.
    CorrectHeading { fitting_deg: f64, noted_deg: f64 },

    /// The field of view is unknown; a noted size and distance would fit this one.
    GiveView { would_fit: Option<(String, f64)> },
    /// A single gauge contradicts the picture.
    OneGauge { name: String, size: String, told_by: DistanceBy, slip: Option<&'static str>, lens: Option<LensThatFits> },
    /// Several gauges deviate alike.
    OddLens { gauges: Vec<String>, deviation_percent: f64, lens: Option<LensThatFits> },
    /// One gauge deviates from the others.
    OddGauge(OddGauge),

    /// The sphere frame was not exposed like the plate.
    Drifted(Drift),
    /// The grey sphere's contrast against what the mirror sphere predicts.
    GreyContrast { more_stops: f64 },

    /// The clean plate lies elsewhere.
    MoveCleanPlate(CleanPlateMove),
    /// The clean plate is exposed or balanced otherwise.
    GainCleanPlate { rgb: [f64; 3] },
    /// The clean plate is softer (+) or sharper by a Gaussian blur of this sd.
    BlurCleanPlate { px: f64 },
}

impl From<Ask> for Step {
    fn from(ask: Ask) -> Self {
        Self::Ask(ask)
    }
}

/// Why a finding waits for another.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Waits {
    /// It goes with the other.
    FollowsFrom(CheckId),
    /// So much remains when the other is mended, stops.
    Remains { first: CheckId, stops: f64 },
    /// Part of it remains when the other is mended.
    PartRemains(CheckId),
    /// A wrong light there changes it too.
    LightThere(CheckId),
    /// The contrast differs by the light's direction alone.
    ContrastByDirection,
}

/// How a file was read, and who said so.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ReadAs {
    pub(crate) file: String,
    pub(crate) encoding: String,
    pub(crate) from: String,
}

/// What is exchanged in the CG.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Swap {
    LeftAndRight,
    TopAndBottom,
    UpsideDown,
}

/// A light's place and where it belongs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Turn {
    pub(crate) from: Vector3<f64>,
    pub(crate) to: Vector3<f64>,
}

impl Turn {
    pub(super) fn place_of_light(&self) -> Place {
        azimuth_elevation_deg(&self.from).into()
    }

    pub(super) fn wanted_place(&self) -> Place {
        azimuth_elevation_deg(&self.to).into()
    }
}

/// How strong a photographed light is and of which colour, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Strength {
    /// Illuminance against the key's; a lower bound where the light is clipped.
    pub(crate) times_key: Option<f64>,
    pub(crate) at_least: bool,
    pub(crate) kelvin: Option<f64>,
}

/// How contrast is mended.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum ContrastCure {
    /// By these lights.
    Lights(Vec<LightToMend>),
    /// By the keys and everything else; absent what is right.
    KeysAndRest { several_keys: bool, keys: Option<f64>, rest: Option<f64> },
    /// No gains can be told: by so much the two patches are off.
    Patches { brightest_stops: f64, darkest_stops: f64 },
}

/// A light of the CG that should be so much stronger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LightToMend {
    pub(crate) at: Place,
    pub(crate) is_key: bool,
    pub(crate) gain: f64,
}

/// Errors that would remain, CG minus photographed; absent where they cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Remaining {
    pub(crate) key_deg: Option<f64>,
    pub(crate) exposure_stops: Option<f64>,
    pub(crate) key_fill_stops: Option<f64>,
    pub(crate) colour_stops: Option<f64>,
}

/// What to do with light layers that share a gain.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LayerChange {
    /// `key + rim`.
    pub(crate) layers: String,
    /// 0 where they are to be switched off; absent where it stays.
    pub(crate) gain: Option<f64>,
    /// + = warmer; absent where the colour stays.
    pub(crate) warmer_mired: Option<f64>,
}

/// What most likely happened to a CG camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Slip {
    /// Only this part of the sensor's width was read out.
    CropForgotten {
        read_out: f64,
    },
    /// From so many columns to so many.
    DownscaleTakenForCrop {
        from: f64,
        to: f64,
    },
    SqueezeMissing(f64),
    SqueezeTwice(f64),
    VerticalAsHorizontal,
    HorizontalAsVertical,
    OtherGate {
        name: &'static str,
        width_mm: f64,
    },
}

/// A lens as a sheet states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lens {
    pub(crate) model: &'static str,
    pub(crate) k1: f64,
    pub(crate) k2: f64,
}

/// The field of view under which a gauge's notes hold, and how much longer its focal length is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LensThatFits {
    pub(crate) fov_deg: f64,
    pub(crate) longer_percent: f64,
}

/// What tells a gauge's distance besides the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DistanceBy {
    /// A distance that was noted.
    Tape,
    /// The camera's height and tilt, for what stands on the ground.
    CameraHeight,
}

/// A gauge that deviates from the others.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct OddGauge {
    pub(crate) name: String,
    /// `diameter`, `length`.
    pub(crate) size: &'static str,
    /// As noted, and as it would have to be if the distance is right.
    pub(crate) size_mm: [f64; 2],
    pub(crate) told_by: DistanceBy,
    /// As noted, and as it would have to be if the size is right.
    pub(crate) distance_mm: [f64; 2],
    pub(crate) slip: Option<&'static str>,
}

/// How the sphere frame's exposure was dealt with; stops are the sphere frame's against the plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Drift {
    Corrected { stops: f64 },
    Stated { measured_stops: f64, stated_stops: f64 },
    Uncorrected { stops: f64 },
}

/// What brings the clean plate onto the plate: px to the right and down, then a turn and a scale about the middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CleanPlateMove {
    pub(crate) right_px: f64,
    pub(crate) down_px: f64,
    /// + = clockwise, and the factor.
    pub(crate) roll_deg_and_scale: Option<[f64; 2]>,
    /// There is more to it, which the JSON report has.
    pub(crate) in_perspective: bool,
}
