//! Surroundings: light by direction, camera axes (x right, y up, z towards the camera).

use nalgebra::Vector3;

use super::random::Random;

/// A picture of all directions, or a made-up room.
pub(crate) enum Environment {
    /// Real surroundings in latitude-longitude form, turned about the vertical.
    LatLong { width: usize, height: usize, pixels: Vec<[f32; 3]>, heading_rad: f64, gain: f64, texture: Texture },
    /// Sky, floor, walls of patches and lamps.
    Room { patches: Vec<Patch>, lamps: Vec<Lamp>, sky: [f64; 3], floor: [f64; 3], texture: Texture },
}

/// A rectangle in azimuth and elevation, plain or striped.
pub(crate) struct Patch {
    pub(crate) azimuth_rad: f64,
    pub(crate) elevation_rad: f64,
    pub(crate) half_width_rad: f64,
    pub(crate) half_height_rad: f64,
    pub(crate) colour: [f64; 3],
    pub(crate) stripes: f64,
}

/// A uniform disc of light.
pub(crate) struct Lamp {
    pub(crate) direction: Vector3<f64>,
    pub(crate) cos_radius: f64,
    pub(crate) radiance: [f64; 3],
}

/// Fine structure multiplied onto everything.
#[derive(Clone, Copy)]
pub(crate) struct Texture {
    pub(crate) strength: f64,
    pub(crate) per_radian: f64,
}

impl Texture {
    pub(crate) const NONE: Self = Self { strength: 0.0, per_radian: 1.0 };

    fn at(self, d: &Vector3<f64>) -> f64 {
        if self.strength == 0.0 {
            return 1.0;
        }
        let p = d * self.per_radian;
        (self.strength * (value_noise(p) + 0.5 * value_noise(p * 2.1) + 0.25 * value_noise(p * 4.3))).exp()
    }
}

/// What is left above the next lower whole number; the library's remainder is a slow loop.
pub(crate) fn fraction(x: f64) -> f64 {
    x - x.floor()
}

/// Smoothly interpolated lattice noise in [−1, 1].
fn value_noise(p: Vector3<f64>) -> f64 {
    let cell = p.map(f64::floor);
    let f = p - cell;
    let s = f.map(|t| t * t * (3.0 - 2.0 * t));
    let mut sum = 0.0;
    for corner in 0..8_i64 {
        let o = [corner & 1, (corner >> 1) & 1, (corner >> 2) & 1];
        let weight: f64 = (0..3).map(|k| if o[k] == 1 { s[k] } else { 1.0 - s[k] }).product();
        let key = (0..3).fold(17_u64, |h, k| {
            (h ^ (cell[k] as i64 + o[k]) as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(23)
        });
        sum += weight * (Random::new(key).unit() * 2.0 - 1.0);
    }
    sum
}

impl Environment {
    /// A room with `clutter` patches and one to four lamps.
    pub(crate) fn room(random: &mut Random, clutter: usize, texture: Texture) -> Self {
        let grey = |random: &mut Random, low: f64, high: f64| {
            let level = random.log_between(low, high);
            [0, 1, 2].map(|_| level * random.between(0.7, 1.3))
        };
        let patches = (0..clutter)
            .map(|_| Patch {
                azimuth_rad: random.between(-std::f64::consts::PI, std::f64::consts::PI),
                elevation_rad: random.between(-1.2, 1.2),
                half_width_rad: random.log_between(0.02, 0.5),
                half_height_rad: random.log_between(0.02, 0.5),
                colour: grey(random, 0.02, 1.5),
                stripes: if random.chance(0.3) { random.log_between(8.0, 80.0) } else { 0.0 },
            })
            .collect();
        let lamps = (0..=random.below(4))
            .map(|_| Lamp {
                direction: Vector3::new(random.normal(), random.between(-0.2, 1.5), random.normal()).normalize(),
                cos_radius: random.log_between(0.02, 0.25).cos(),
                radiance: grey(random, 8.0, 200.0),
            })
            .collect();
        Self::Room { patches, lamps, sky: grey(random, 0.1, 0.8), floor: grey(random, 0.05, 0.4), texture }
    }

    /// Radiance from a unit direction.
    pub(crate) fn radiance(&self, d: &Vector3<f64>) -> [f64; 3] {
        match self {
            Self::LatLong { width, height, pixels, heading_rad, gain, texture } => {
                let longitude = d.x.atan2(d.z) + heading_rad;
                let turn = fraction(0.5 - longitude / std::f64::consts::TAU);
                let x = turn * (*width as f64 - 1.0);
                let y = (0.5 - d.y.clamp(-1.0, 1.0).asin() / std::f64::consts::PI) * (*height as f64 - 1.0);
                let (c, r) = ((x as usize).min(width - 2), (y as usize).min(height - 2));
                let (fx, fy) = ((x - c as f64) as f32, (y - r as f64) as f32);
                let at = |r: usize, c: usize| pixels[r * width + c];
                let (a, b, e, f) = (at(r, c), at(r, c + 1), at(r + 1, c), at(r + 1, c + 1));
                let scale = gain * texture.at(d);
                [0, 1, 2].map(|k| {
                    let v = (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (e[k] * (1.0 - fx) + f[k] * fx) * fy;
                    f64::from(v.max(0.0)) * scale
                })
            }
            Self::Room { patches, lamps, sky, floor, texture } => {
                if let Some(lamp) = lamps.iter().find(|l| l.direction.dot(d) > l.cos_radius) {
                    return lamp.radiance;
                }
                let (azimuth, elevation) = (d.x.atan2(d.z), d.y.clamp(-1.0, 1.0).asin());
                let blend = (0.5 + 2.0 * d.y).clamp(0.0, 1.0);
                let mut colour = [0, 1, 2].map(|k| floor[k] * (1.0 - blend) + sky[k] * blend);
                for p in patches {
                    let de = elevation - p.elevation_rad;
                    if de.abs() >= p.half_height_rad {
                        continue;
                    }
                    let apart = azimuth - p.azimuth_rad;
                    let da = apart - std::f64::consts::TAU * (apart / std::f64::consts::TAU).round();
                    if da.abs() < p.half_width_rad {
                        let dark = p.stripes > 0.0 && fraction(da * p.stripes) < 0.5;
                        colour = p.colour.map(|c| if dark { 0.3 * c } else { c });
                    }
                }
                let scale = texture.at(d);
                colour.map(|c| c * scale)
            }
        }
    }
}
