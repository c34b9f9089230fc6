//! What a made-up shot is: camera, sphere, light, recording, and what is wrong in the CG.

use plateproof::demo::render::MirrorSphere;
use plateproof::image::Size;
use plateproof::optics::camera::{FovSource, View};
use plateproof::sphere::MirrorGeometry;

use super::hide::edge_of_segment;
use super::random::Random;
use super::rig::Rig;

/// Reflectance that the CG artist believes in.
pub(crate) const BELIEVED: [f64; 3] = [0.62, 0.60, 0.56];

/// A recording without a ceiling that matters.
const OPEN_CLIP: f64 = 4000.0;

/// How the photographed frames are kept.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Kept {
    /// Half float, scene-linear.
    HalfFloat,
    /// 8-bit JPEG developed in the camera by a tone curve that nothing tells.
    Jpeg { quality: u8, gain_stops: f64, contrast: f64, red_stops: f64, blue_stops: f64 },
}

/// What the sheet says about reflectance.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Told {
    /// The CG sphere is like the real one.
    SameAsMirror,
    /// Measured with this uncertainty, stops; the CG has a reflectance of its own.
    Measured { sd_stops: f64 },
    /// Nothing about the real one; the CG's is given.
    Unknown,
}

/// Errors built into the CG, CG minus set.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Errors {
    pub(crate) heading_deg: f64,
    pub(crate) tip_deg: f64,
    /// The key alone is turned about the vertical.
    pub(crate) key_turn_deg: f64,
    pub(crate) exposure_stops: f64,
    pub(crate) red_green_stops: f64,
    pub(crate) blue_green_stops: f64,
    /// Gain of the soft panels.
    pub(crate) panel_stops: f64,
    /// Index of a light that the CG lacks.
    pub(crate) missing: Option<usize>,
}

/// One shot.
#[derive(Debug, Clone)]
#[allow(clippy::struct_excessive_bools, reason = "each is a condition of its own that a shot has or has not")]
pub(crate) struct Recipe {
    pub(crate) seed: u64,
    pub(crate) size: Size,
    pub(crate) fov_deg: f64,
    pub(crate) fov_told: bool,
    pub(crate) tilt_deg: f64,
    pub(crate) centre_px: [f64; 2],
    pub(crate) radius_px: f64,
    pub(crate) rig: Rig,
    pub(crate) errors: Errors,
    pub(crate) blur_px: f64,
    pub(crate) read_noise: f64,
    pub(crate) shot_noise: f64,
    pub(crate) clip_level: f64,
    pub(crate) stand: bool,
    /// Fraction of the sphere's picture hidden by something in front, and the direction in the frame from where.
    pub(crate) hidden: Option<(f64, f64)>,
    pub(crate) kept: Kept,
    /// Reflectance of the real sphere.
    pub(crate) reflectance: [f64; 3],
    pub(crate) told: Told,
    pub(crate) crew: bool,
    /// The plate is given; the mirror frame was recorded so many stops brighter than it.
    pub(crate) plate_drift_stops: Option<f64>,
    pub(crate) cg_alpha: bool,
    /// The outline is given in the sheet, as a hand would draw it.
    pub(crate) outline_given: bool,
}

impl Recipe {
    /// The camera's true view.
    pub(crate) fn view(&self) -> View {
        View::from_horizontal_fov(self.size, 1.0, self.fov_deg, FovSource::Sheet)
    }

    /// A careful shot with nothing wrong: where the robustness rows start from.
    pub(crate) fn careful(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let size = Size { width: 800, height: 450 };
        Self {
            seed,
            size,
            fov_deg: 40.0,
            fov_told: true,
            tilt_deg: -3.0,
            centre_px: [random.between(330.0, 470.0), random.between(190.0, 250.0)],
            radius_px: 90.0,
            rig: Rig::draw(&mut random),
            errors: Errors::default(),
            blur_px: 0.6,
            read_noise: 0.001,
            shot_noise: 5e-5,
            clip_level: OPEN_CLIP,
            stand: true,
            hidden: None,
            kept: Kept::HalfFloat,
            reflectance: BELIEVED,
            told: Told::SameAsMirror,
            crew: false,
            plate_drift_stops: None,
            cg_alpha: true,
            outline_given: false,
        }
    }

    /// A shot of any quality.
    pub(crate) fn draw(seed: u64) -> Self {
        // Everything is drawn in a fixed order, used or not.
        let mut random = Random::new(seed);
        let rig = Rig::draw(&mut random);
        let frame = Framing::draw(&mut random);
        let told = draw_told(&mut random);
        let kept = if random.chance(0.15) { draw_jpeg(&mut random) } else { Kept::HalfFloat };
        let jpeg = matches!(kept, Kept::Jpeg { .. });
        let clips = random.chance(0.35);
        let ceiling = random.log_between(1.5, 60.0);
        let drifts = random.chance(0.25);
        let drift = random.between(-0.6, 0.6);
        Self {
            seed,
            errors: draw_errors(&mut random, rig.lights.len()),
            size: frame.size,
            centre_px: frame.centre_px,
            radius_px: frame.radius_px,
            fov_deg: random.between(20.0, 70.0),
            fov_told: random.chance(0.75),
            tilt_deg: random.between(-8.0, 6.0),
            blur_px: random.log_between(0.45, 1.6),
            read_noise: random.log_between(3e-4, 5e-3),
            shot_noise: random.log_between(1e-5, 4e-4),
            clip_level: if clips { ceiling } else { OPEN_CLIP },
            stand: random.chance(0.6),
            hidden: random.chance(0.15).then(|| (random.between(0.03, 0.33), random.between(-160.0, 160.0))),
            kept,
            reflectance: true_reflectance(told, &mut random),
            told,
            crew: random.chance(0.4),
            plate_drift_stops: (!jpeg && random.chance(0.6)).then_some(if drifts { drift } else { 0.0 }),
            cg_alpha: random.chance(0.7),
            outline_given: false,
            rig,
        }
        .perhaps_good(&mut random)
        .with_lamps_in_sight()
    }

    /// Whatever stands before the sphere hides no lamp: of a lamp that no frame shows, nothing can be said.
    fn with_lamps_in_sight(self) -> Self {
        let Some((fraction, from_deg)) = self.hidden else { return self };
        let sphere = MirrorSphere::at(&self.view(), self.centre_px, self.radius_px, BELIEVED);
        let geometry = MirrorGeometry::new(&self.view(), &sphere.cone);
        let (sin, cos) = from_deg.to_radians().sin_cos();
        let edge = self.radius_px * (edge_of_segment(fraction) - 0.12);
        let set = self.rig.set(false, self.tilt_deg);
        let behind = set.lights_in_camera_axes().iter().any(|lamp| {
            let seen = geometry.locate(&lamp.direction);
            seen.is_none_or(|[x, y]| (x - self.centre_px[0]) * cos + (y - self.centre_px[1]) * sin > edge)
        });
        if behind { Self { hidden: None, ..self } } else { self }
    }

    /// In a third of the shots nothing about the input is poor.
    fn perhaps_good(self, random: &mut Random) -> Self {
        if !random.chance(0.35) {
            return self;
        }
        let size = Size { width: 800, height: 450 };
        let radius_px = random.log_between(45.0, 130.0);
        let margin = 1.25 * radius_px;
        Self {
            size,
            radius_px,
            centre_px: [800.0, 450.0].map(|side| random.between(margin, side - margin)),
            fov_told: true,
            blur_px: self.blur_px.min(1.0),
            read_noise: self.read_noise.min(2e-3),
            shot_noise: self.shot_noise.min(1.5e-4),
            clip_level: OPEN_CLIP,
            hidden: None,
            kept: Kept::HalfFloat,
            reflectance: BELIEVED,
            told: Told::SameAsMirror,
            plate_drift_stops: self.plate_drift_stops.map(|_| 0.0),
            ..self
        }
    }
}

/// Frame, place and size of the sphere.
struct Framing {
    size: Size,
    centre_px: [f64; 2],
    radius_px: f64,
}

impl Framing {
    fn draw(random: &mut Random) -> Self {
        let radius_px = random.log_between(16.0, 150.0);
        let width = [480, 560, 640, 800][random.below(4)].max((radius_px * 4.4) as usize / 16 * 16 + 16);
        let size = Size { width, height: width * 9 / 16 };
        let margin = 1.25 * radius_px;
        let centre_px = [width as f64, size.height as f64].map(|side| random.between(margin, side - margin));
        Self { size, centre_px, radius_px }
    }
}

fn draw_told(random: &mut Random) -> Told {
    match random.unit() {
        p if p < 0.6 => Told::SameAsMirror,
        p if p < 0.85 => Told::Measured { sd_stops: random.between(0.02, 0.10) },
        _ => Told::Unknown,
    }
}

/// The real sphere under what the sheet says: as the sheet's own uncertainty allows, or about the 0.7 with 0.35 stop
/// that the contract takes for an unknown one; a fifth of that between channels.
fn true_reflectance(told: Told, random: &mut Random) -> [f64; 3] {
    let (middle, sd) = match told {
        Told::SameAsMirror => return BELIEVED,
        Told::Measured { sd_stops } => (BELIEVED, sd_stops),
        Told::Unknown => ([0.7; 3], 0.35),
    };
    let common = sd * random.normal();
    middle.map(|r| (r * (common + 0.2 * sd * random.normal()).exp2()).min(0.98))
}

/// Spread as measured on camera files: absolute stops by about 0.4, contrast by about a quarter, channels by 0.2.
fn draw_jpeg(random: &mut Random) -> Kept {
    Kept::Jpeg {
        quality: 60 + random.below(36) as u8,
        gain_stops: 0.4 * random.normal(),
        contrast: (1.0 + 0.2 * random.normal()).clamp(0.6, 1.4),
        red_stops: 0.15 * random.normal(),
        blue_stops: 0.15 * random.normal(),
    }
}

/// Up to three tolerances of everything, each in about half of the shots.
fn draw_errors(random: &mut Random, lights: usize) -> Errors {
    let mut within = |reach: f64| if random.chance(0.45) { random.between(-reach, reach) } else { 0.0 };
    let mut errors = Errors {
        heading_deg: within(15.0),
        tip_deg: within(4.0),
        exposure_stops: within(0.75),
        red_green_stops: within(0.3),
        blue_green_stops: within(0.3),
        panel_stops: within(1.0),
        ..Errors::default()
    };
    if random.chance(0.15) {
        errors.key_turn_deg = random.between(-15.0, 15.0);
    }
    if lights > 1 && random.chance(0.12) {
        errors.missing = Some(1 + random.below(lights - 1));
    }
    errors
}
