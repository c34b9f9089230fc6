//! What a shot of the show is made of.

use super::harbour::Clock;
use super::scene::Scene;
use super::set::{crew, figure};
use crate::findings::ShotVerdict;
use crate::image::Size;
use crate::optics::camera::{FovSource, View};

/// All frames of the show.
pub(crate) const SIZE: Size = Size { width: 960, height: 540 };
/// Width and height of the invented sensor that the frame covers, in millimetres.
pub(crate) const SENSOR_MM: [f64; 2] = [24.89, 14.0];
/// Reflectance of the sphere that most shots used.
pub(crate) const GOOD_SPHERE: [f64; 3] = [0.62, 0.60, 0.56];

/// The sphere as the mirror frame was shot.
#[derive(Debug, Clone)]
pub(crate) enum MirrorTake {
    /// A clean sphere in a camera with plenty of headroom.
    Good,
    /// A small, hazy, tinted sphere as an 8-bit JPEG that clips; neither lens nor reflectance was noted.
    Poor,
}

/// How the CG sphere came out of the renderer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CgFrame {
    /// Premultiplied on nothing.
    Premultiplied,
    /// Over the rendered surroundings, without alpha.
    OverBackground,
}

/// One shot of the show.
#[derive(Debug, Clone)]
pub(crate) struct Shot {
    pub(crate) name: &'static str,
    /// What happens in it, for the sheet's notes.
    pub(crate) action: &'static str,
    /// What code put wrong, in one line.
    pub(crate) built_in: &'static str,
    /// Version of the CG.
    pub(crate) version: &'static str,
    /// Version of a further render without the built-in errors, which no sheet names.
    pub(crate) mended: Option<&'static str>,
    pub(crate) focal_length_mm: f64,
    pub(crate) tilt_deg: f64,
    pub(crate) sphere_px: [f64; 2],
    pub(crate) sphere_radius_px: f64,
    /// The light on set.
    pub(crate) set: Scene,
    /// The light in the CG.
    pub(crate) cg: Scene,
    pub(crate) mirror_take: MirrorTake,
    pub(crate) clock: Clock,
    /// Compass bearing of the view, where the crew noted it, with the place.
    pub(crate) heading_deg: Option<f64>,
    pub(crate) cg_frame: CgFrame,
    /// The mirror frame was recorded brighter than the plate by so many stops, unknown to the metadata.
    pub(crate) drift_stops: f64,
    /// Direction in which an actor stands in the plate.
    pub(crate) figure_azimuth_deg: Option<f64>,
    /// What else came back from set.
    pub(crate) from_set: FromSet,
    /// Errors put into the CG.
    pub(crate) errors: BuiltIn,
    /// The environment was captured too.
    pub(crate) environment: Option<EnvironmentTake>,
    /// The CG sphere comes with a layer for each light; their names, in the order of the CG's lights, then the rest.
    pub(crate) light_layers: &'static [&'static str],
    /// What the shot must come out as.
    pub(crate) verdict: ShotVerdict,
}

/// The environment as it was captured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct EnvironmentTake {
    /// Azimuth of the picture's middle column, as the sheet states it.
    pub(crate) heading_deg: f64,
    /// The capture is so many stops brighter than the light was, unknown to the sheet.
    pub(crate) stops: f64,
}

/// Errors of the CG, CG minus set.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct BuiltIn {
    pub(crate) exposure_stops: f64,
    /// Red against green and blue against green.
    pub(crate) red_green_stops: f64,
    pub(crate) blue_green_stops: f64,
    pub(crate) heading_deg: f64,
    pub(crate) tip_deg: f64,
}

impl BuiltIn {
    /// Applies turn, exposure and colour. The colour gain leaves the luminance of a neutral unchanged.
    fn apply(&self, scene: Scene) -> Scene {
        let colour = [self.red_green_stops.exp2(), 1.0, self.blue_green_stops.exp2()];
        let level = self.exposure_stops.exp2() / crate::colour::luminance(colour);
        scene.turned(self.heading_deg).tipped(self.tip_deg).with_gain(colour.map(|c| c * level))
    }
}

impl Shot {
    /// The shot with its render mended.
    pub(crate) fn with_mended_render(&self) -> Option<Self> {
        Some(Self { version: self.mended?, mended: None, errors: BuiltIn::default(), ..self.clone() })
    }

    /// The camera's view.
    pub(crate) fn view(&self) -> View {
        let fov_deg = 2.0 * (SENSOR_MM[0] / (2.0 * self.focal_length_mm)).atan().to_degrees();
        View::from_horizontal_fov(SIZE, 1.0, fov_deg, FovSource::Sheet)
    }

    /// The set with camera and crew, as the sphere saw it.
    pub(crate) fn set_with_crew(&self) -> Scene {
        crew().into_iter().fold(self.set.clone(), Scene::with_panel).for_camera_tilt(self.tilt_deg)
    }

    /// The set as the plate saw it.
    pub(crate) fn set_with_actor(&self) -> Scene {
        let actor = self.figure_azimuth_deg.map(figure).into_iter().flatten();
        actor.fold(self.set.clone(), Scene::with_panel).for_camera_tilt(self.tilt_deg)
    }

    /// The set without people.
    pub(crate) fn empty_set(&self) -> Scene {
        self.set.clone().for_camera_tilt(self.tilt_deg)
    }

    /// The CG's surroundings with every built-in error.
    pub(crate) fn cg_scene(&self) -> Scene {
        self.errors.apply(self.cg.clone().for_camera_tilt(self.tilt_deg))
    }

    /// Reflectance of the photographed sphere.
    pub(crate) fn reflectance(&self) -> [f64; 3] {
        match self.mirror_take {
            MirrorTake::Good => GOOD_SPHERE,
            MirrorTake::Poor => [0.56, 0.53, 0.49],
        }
    }
}

/// The clean plate as it was shot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CleanTake {
    /// How far its picture lies from the plate's, right and down, px.
    pub(crate) shift_px: [f64; 2],
    /// How much brighter it was recorded.
    pub(crate) stops: f64,
}

/// The grid that was shot through the lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GridTake {
    /// Coefficient of the lens: straight radius = r (1 + k1 r²), r = 1 at the frame's corner.
    pub(crate) k1: f64,
    /// The CG was distorted by the same coefficient; else it is stated to have none.
    pub(crate) undone: bool,
}

/// What of it was shot.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct FromSet {
    pub(crate) clean: Option<CleanTake>,
    pub(crate) grid: Option<GridTake>,
    /// A grey matte sphere was held up too.
    pub(crate) matte: bool,
}
