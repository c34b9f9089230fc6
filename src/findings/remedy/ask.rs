//! Requests that need no number: one sentence each.

use crate::findings::Action;

/// What is asked for. [`Ask::words`] has the sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ask {
    // Of the photographed sphere
    ShorterExposure,
    ShorterExposureOfSeparateLight,
    ShorterExposureForBracket,
    ShorterExposureOrGreySphere,
    UncoveredSphere,
    LinearFrame,
    LinearOrLogFrame,
    FallOff,
    SameBackground,
    ShotLikePlate,
    ClipLevel,
    OneOutline,
    // Of the CG
    LinearRender,
    UnclippedRender,
    LinearLayers,
    WholeLayers,
    FullEnvironment,
    CgSphereForMirror,
    OwnCgSphere,
    // Of both
    ViewOfBoth,
    EncodingAndLayer,
    EncodingAndColourSpace,
    // To be decided on the evidence picture
    LookAtSoftLight,
    LookAtBothTurns,
    // Of the captured environment
    LatLong,
    FloatCapture,
    WholeCapture,
    StitchedCapture,
    CaptureProjection,
    // Of files and notes
    OwnFiles,
    SwapFiles,
    WidthFirst,
    SameTake,
    SameLight,
    ExposureStops,
    SameCamera,
    // Of the rest from set
    LinesAlongEdges,
    WholeGreySphere,
    DetailInCleanPlate,
    CleanFrameForEach,
    MeasureAgain,
    NoOddGauge,
    Heading,
    NotTheSun,
    SunPlaceAndTime,
}

impl Ask {
    /// What to do, without a full stop.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::ShorterExposure => "add a darker exposure of the mirror sphere",
            Self::ShorterExposureOfSeparateLight => {
                "add a darker exposure of the mirror sphere, in which the light is separate"
            }
            Self::ShorterExposureForBracket => "add a darker exposure of the mirror sphere, or a grey sphere",
            Self::ShorterExposureOrGreySphere => "add a shorter exposure of the sphere, or a grey sphere",
            Self::UncoveredSphere => "look at that place in the evidence picture",
            Self::LinearFrame => "use a linear frame developed from raw, or a bracket of the sphere",
            Self::LinearOrLogFrame => {
                "use a linear frame developed from raw, a log frame with a known curve, or a bracket of the sphere"
            }
            Self::FallOff => {
                "remove the lens's fall-off from plate and sphere frame, or render it with the CG, and set camera.corner_fall_off_stops to 0"
            }
            Self::SameBackground => "use a plate and a sphere frame that show some detail of the same background",
            Self::ShotLikePlate => {
                "use a sphere frame shot like the plate; only if you know that nothing but its exposure differed, set correct_drift"
            }
            Self::ClipLevel => {
                "give clip_level of the sphere's frame (a value above all its pixels if it is not clipped), or add a shorter exposure of the sphere"
            }
            Self::OneOutline => {
                "give the right one, exactly (outline_px in a sheet, --outline) or roughly (near_px, --near)"
            }
            Self::LinearRender => "render the CG sphere as scene-linear OpenEXR, half float or better",
            Self::UnclippedRender => {
                "render the CG sphere as scene-linear OpenEXR, half float or better, without a view transform"
            }
            Self::LinearLayers => "render the CG sphere and its layers as scene-linear OpenEXR",
            Self::WholeLayers => {
                "render the layers and the whole picture from the same scene, with every light in its own layer"
            }
            Self::FullEnvironment => {
                "check that the CG sphere was rendered with its full environment and that the frame is linear"
            }
            Self::CgSphereForMirror => "render a CG sphere for it, or remove the mirror from the sheet",
            Self::OwnCgSphere => "check that this CG sphere belongs to this mirror frame, and what lights it",
            Self::ViewOfBoth => "give focal length and sensor of both cameras in the sheet",
            Self::EncodingAndLayer => "check the encoding and the layer of both frames",
            Self::EncodingAndColourSpace => "check the encoding and colour space of both frames",
            Self::LookAtSoftLight => "look at the evidence picture",
            Self::LookAtBothTurns => "look at the evidence picture and use the turn that lines up the surroundings",
            Self::LatLong => "convert it to lat-long, twice as wide as high, and give that",
            Self::FloatCapture => "give the merged capture as float OpenEXR or Radiance HDR",
            Self::WholeCapture => "give the whole sphere of directions, uncropped, twice as wide as high",
            Self::StitchedCapture => "stitch it again, or blend the edge",
            Self::CaptureProjection => "check its projection",
            Self::OwnFiles => "give each its own file: a frame that is compared with itself always agrees",
            Self::SwapFiles => "swap the two files in the sheet",
            Self::WidthFirst => "write the sensor's width before its height, the way the picture is oriented",
            Self::SameTake => "find the sphere frame that belongs to this plate, or correct the note",
            Self::SameLight => "use a sphere frame shot under the plate's lights",
            Self::ExposureStops => {
                "correct exposure_stops, or remove it from the sheet so that the files' metadata counts"
            }
            Self::SameCamera => "use a sphere frame shot with the plate's camera and lens, or correct the note",
            Self::LinesAlongEdges => {
                "shoot a grid, tiles or a doorway with lines along all four edges of the frame, at the shot's focus and focal length"
            }
            Self::WholeGreySphere => "use a frame in which the whole grey sphere is visible and not clipped",
            Self::DetailInCleanPlate => "use frames with some detail in them",
            Self::CleanFrameForEach => {
                "register each plate frame to its own best clean frame (best_clean_frames in the JSON report)"
            }
            Self::MeasureAgain => "the notes contradict each other and none fits the picture: measure again",
            Self::NoOddGauge => "the notes agree with each other",
            Self::Heading => "add camera.heading_deg, the compass bearing of the view",
            Self::NotTheSun => "do not match the CG's sun to this key",
            Self::SunPlaceAndTime => "if it was the sun, check place and time",
        }
    }

    /// What is said besides; empty where nothing is.
    pub(super) fn besides(self) -> &'static str {
        match self {
            Self::UncoveredSphere => "a frame of the sphere with nothing in front of it would settle it",
            Self::LookAtSoftLight => "direction cannot be judged under such soft light",
            Self::CaptureProjection => "a lat-long picture is uniform along its first and last row",
            Self::SameLight => "this one was not",
            Self::CleanFrameForEach => "the clean pass took a different path from the plate",
            Self::NoOddGauge => "the deviation is too close to the tolerance to blame a single one",
            _ => "",
        }
    }

    /// Of which kind it is; `None` where somebody has to look first, or where no kind of action says it.
    pub(super) fn action(self) -> Option<Action> {
        Some(match self {
            Self::ShorterExposure
            | Self::ShorterExposureOfSeparateLight
            | Self::ShorterExposureForBracket
            | Self::ShorterExposureOrGreySphere
            | Self::UncoveredSphere
            | Self::SameBackground
            | Self::ShotLikePlate
            | Self::SameLight
            | Self::LinesAlongEdges
            | Self::WholeGreySphere
            | Self::DetailInCleanPlate
            | Self::MeasureAgain => Action::ShootAgain,
            Self::LinearRender
            | Self::UnclippedRender
            | Self::LinearLayers
            | Self::WholeLayers
            | Self::FullEnvironment
            | Self::CgSphereForMirror => Action::RenderAgain,
            Self::LinearFrame
            | Self::LinearOrLogFrame
            | Self::FallOff
            | Self::ClipLevel
            | Self::OneOutline
            | Self::OwnCgSphere
            | Self::ViewOfBoth
            | Self::EncodingAndLayer
            | Self::EncodingAndColourSpace
            | Self::LatLong
            | Self::FloatCapture
            | Self::WholeCapture
            | Self::StitchedCapture
            | Self::CaptureProjection
            | Self::OwnFiles
            | Self::SwapFiles
            | Self::WidthFirst
            | Self::SameTake
            | Self::ExposureStops
            | Self::SameCamera
            | Self::Heading
            | Self::SunPlaceAndTime => Action::Give,
            Self::LookAtSoftLight
            | Self::LookAtBothTurns
            | Self::CleanFrameForEach
            | Self::NoOddGauge
            | Self::NotTheSun => {
                return None;
            }
        })
    }
}
