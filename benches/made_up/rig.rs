//! The light on a made-up set: a backdrop, soft panels, one to four lamps.

use nalgebra::Vector3;
use plateproof::demo::scene::{DiscLight, Panel, Scene, black_body, direction_of};
use plateproof::demo::set::{crew, deck_at_dusk, lamp, salt_hall};

use super::random::Random;
use super::recipe::Errors;

/// Lamps stay this far from the direction that the sphere itself hides, degrees.
const FROM_BEHIND_DEG: f64 = 28.0;

/// Free angle between the edges of two lamps, degrees.
const APART_DEG: f64 = 14.0;

/// Where the backdrop comes from.
#[derive(Debug, Clone)]
enum Place {
    Deck { seed: u64, glow_deg: f64 },
    Hall { seed: u64 },
}

/// One lamp.
#[derive(Debug, Clone)]
pub(crate) struct Lamp {
    pub(crate) azimuth_deg: f64,
    pub(crate) elevation_deg: f64,
    pub(crate) radius_deg: f64,
    kelvin: f64,
    /// Luminance × sr on a plane that faces it.
    pub(crate) illuminance: f64,
}

impl Lamp {
    fn light(&self, turn_deg: f64) -> DiscLight {
        let luminance = self.illuminance / (std::f64::consts::PI * self.radius_deg.to_radians().sin().powi(2));
        lamp(self.azimuth_deg + turn_deg, self.elevation_deg, self.radius_deg, self.kelvin, luminance)
    }

    fn direction(&self) -> Vector3<f64> {
        direction_of(self.azimuth_deg, self.elevation_deg)
    }
}

/// One soft panel.
#[derive(Debug, Clone)]
struct Cloth {
    azimuth_deg: f64,
    elevation_deg: f64,
    half_size_deg: [f64; 2],
    edge_deg: f64,
    kelvin: f64,
    luminance: f64,
}

/// Everything that shines.
#[derive(Debug, Clone)]
pub(crate) struct Rig {
    place: Place,
    level_stops: f64,
    cloths: Vec<Cloth>,
    /// Strongest first.
    pub(crate) lights: Vec<Lamp>,
}

impl Rig {
    pub(crate) fn draw(random: &mut Random) -> Self {
        let place = if random.chance(0.55) {
            Place::Deck { seed: random.bits() % 1000, glow_deg: random.between(-180.0, 180.0) }
        } else {
            Place::Hall { seed: random.bits() % 1000 }
        };
        let lights = draw_lights(random);
        let key = lights.first().map_or(1.0, |l| l.illuminance);
        let mut cloths: Vec<Cloth> = (0..random.below(3)).map(|_| Cloth::draw(random)).collect();
        let level_stops = random.between(-0.5, 1.0);
        for cloth in &mut cloths {
            cloth.keep_below(key, level_stops);
        }
        Self { place, level_stops, cloths, lights }
    }

    /// The set, with the crew that the photographed sphere sees or without.
    pub(crate) fn set(&self, crew_seen: bool, tilt_deg: f64) -> Scene {
        let scene = self.scene(&Errors::default());
        let scene = if crew_seen { crew().into_iter().fold(scene, Scene::with_panel) } else { scene };
        scene.for_camera_tilt(tilt_deg)
    }

    /// The CG's surroundings with everything wrong but the turn of the whole.
    pub(crate) fn cg_unturned(&self, errors: &Errors, tilt_deg: f64) -> Scene {
        let colour = [errors.red_green_stops.exp2(), 1.0, errors.blue_green_stops.exp2()];
        let level = errors.exposure_stops.exp2() / plateproof::colour::luminance(colour);
        self.scene(errors).for_camera_tilt(tilt_deg).with_gain(colour.map(|c| c * level))
    }

    fn scene(&self, errors: &Errors) -> Scene {
        let backdrop = match self.place {
            Place::Deck { seed, glow_deg } => deck_at_dusk(seed, glow_deg),
            Place::Hall { seed } => salt_hall(seed),
        };
        let panels = self.cloths.iter().map(|cloth| cloth.panel(errors.panel_stops));
        let scene = panels.fold(backdrop, Scene::with_panel).with_gain([self.level_stops.exp2(); 3]);
        let kept = self.lights.iter().enumerate().filter(|(index, _)| errors.missing != Some(*index));
        // Lamps are not brighter on a brighter day.
        let day = (-self.level_stops).exp2();
        kept.fold(scene, |scene, (index, lamp)| {
            let mut light = lamp.light(if index == 0 { errors.key_turn_deg } else { 0.0 });
            light.radiance = light.radiance.map(|l| l * day);
            scene.with_light(light)
        })
    }
}

impl Cloth {
    fn draw(random: &mut Random) -> Self {
        Self {
            half_size_deg: [random.between(8.0, 22.0), random.between(8.0, 18.0)],
            azimuth_deg: random.between(-150.0, 150.0),
            elevation_deg: random.between(-25.0, 45.0),
            edge_deg: random.log_between(0.5, 8.0),
            kelvin: random.between(2800.0, 6500.0),
            luminance: random.log_between(0.3, 3.0),
        }
    }

    /// Less than half of what the key gives, so that it is neither the key nor shares its place where the CG's panels are a
    /// stop too bright: the truth about directions is told of lamps.
    fn keep_below(&mut self, key_illuminance: f64, level_stops: f64) {
        let [width, height] = self.half_size_deg.map(|half| 2.0 * half.to_radians());
        let strongest = 0.38 * key_illuminance / (width * height) / level_stops.exp2();
        self.luminance = self.luminance.min(strongest);
    }

    fn panel(&self, stops: f64) -> Panel {
        let radiance = black_body(self.kelvin).map(|c| c * self.luminance * stops.exp2());
        Panel::new(self.azimuth_deg, self.elevation_deg, self.half_size_deg, self.edge_deg, radiance)
    }
}

/// One to four lamps; the key stands out by 0.6 stop, or another one is clearly as strong.
fn draw_lights(random: &mut Random) -> Vec<Lamp> {
    let count = 1 + random.below(4);
    let key = random.log_between(0.8, 8.0);
    let mut lights: Vec<Lamp> = Vec::new();
    for attempt in 0..60 {
        if lights.len() == count {
            break;
        }
        let below = match lights.len() {
            0 => 0.0,
            1 if random.chance(0.12) => random.between(0.0, 0.12),
            _ => random.between(0.6, 3.5),
        };
        let candidate = Lamp {
            azimuth_deg: random.between(-180.0, 180.0),
            elevation_deg: random.between(-12.0, 70.0),
            radius_deg: random.log_between(1.0, 18.0) * if attempt > 40 { 0.4 } else { 1.0 },
            kelvin: random.between(2800.0, 6500.0),
            illuminance: key * (-below).exp2(),
        };
        if is_free(&candidate, &lights) {
            lights.push(candidate);
        }
    }
    lights.sort_by(|a, b| b.illuminance.total_cmp(&a.illuminance));
    lights
}

fn is_free(candidate: &Lamp, others: &[Lamp]) -> bool {
    let direction = candidate.direction();
    let angle = |other: &Vector3<f64>| direction.dot(other).clamp(-1.0, 1.0).acos().to_degrees();
    let behind = angle(&-Vector3::z()) > FROM_BEHIND_DEG + candidate.radius_deg;
    behind && others.iter().all(|o| angle(&o.direction()) > APART_DEG + o.radius_deg + candidate.radius_deg)
}
