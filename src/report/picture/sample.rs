//! Invented light on a salt ferry's deck, for the tests of the pictures.

use super::{Evidence, EvidenceSide, FindingLine, LightMark, LinearPicture, LinearPictureGrey, ShownSphere};
use crate::findings::{Concerns, ShotVerdict, sample};
use crate::report::amiss::finding_words;
use crate::report::glance::{Glance, set_problem_words};
use crate::report::wording::is_set_problem;

/// A disc lamp in the invented surroundings.
struct Lamp {
    azimuth_deg: f64,
    elevation_deg: f64,
    radius_deg: f64,
    radiance: [f32; 3],
}

/// Sky over sea with lamps.
struct Surroundings {
    lamps: Vec<Lamp>,
    gain: f32,
}

fn direction(azimuth_deg: f64, elevation_deg: f64) -> [f64; 3] {
    let (azimuth, elevation) = (azimuth_deg.to_radians(), elevation_deg.to_radians());
    [azimuth.sin() * elevation.cos(), elevation.sin(), azimuth.cos() * elevation.cos()]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Surroundings {
    fn radiance(&self, to: [f64; 3]) -> [f32; 3] {
        let lamp = self
            .lamps
            .iter()
            .find(|lamp| dot(direction(lamp.azimuth_deg, lamp.elevation_deg), to) > lamp.radius_deg.to_radians().cos());
        lamp.map_or_else(|| backdrop(to), |lamp| lamp.radiance).map(|channel| channel * self.gain)
    }

    fn unwrapped(&self, width: usize, blind_deg: f64) -> LinearPicture {
        let height = width / 2;
        let pixel = |index: usize| {
            let azimuth = ((index % width) as f64 + 0.5) / width as f64 * 360.0 - 180.0;
            let elevation = 90.0 - ((index / width) as f64 + 0.5) / height as f64 * 180.0;
            let to = direction(azimuth, elevation);
            if to[2] < -blind_deg.to_radians().cos() { [f32::NAN; 3] } else { self.radiance(to) }
        };
        LinearPicture { width, height, rgb: (0..width * height).map(pixel).collect() }
    }

    /// The mirror sphere as a distant camera sees it, against the deck.
    fn crop(&self, side: usize, radius: f64) -> LinearPicture {
        let middle = side as f64 / 2.0;
        let pixel = |index: usize| {
            let x = ((index % side) as f64 + 0.5 - middle) / radius;
            let y = (middle - (index / side) as f64 - 0.5) / radius;
            let inside = 1.0 - x * x - y * y;
            if inside <= 0.0 {
                return behind_the_sphere(x, y).map(|channel| channel * self.gain);
            }
            let z = inside.sqrt();
            self.radiance([2.0 * z * x, 2.0 * z * y, 2.0 * z * z - 1.0]).map(|channel| channel * 0.6)
        };
        LinearPicture { width: side, height: side, rgb: (0..side * side).map(pixel).collect() }
    }

    /// Grey of 18 % under the lamps (as points) and a third of a steradian of sky.
    fn matte(&self, side: usize) -> LinearPicture {
        let pixel = |index: usize| {
            let x = ((index % side) as f64 + 0.5) / side as f64 * 2.0 - 1.0;
            let y = 1.0 - ((index / side) as f64 + 0.5) / side as f64 * 2.0;
            let inside = 1.0 - x * x - y * y;
            if inside <= 0.0 { [f32::NAN; 3] } else { self.reflected([x, y, inside.sqrt()]) }
        };
        LinearPicture { width: side, height: side, rgb: (0..side * side).map(pixel).collect() }
    }

    fn reflected(&self, normal: [f64; 3]) -> [f32; 3] {
        let sky = 0.5 + 0.5 * normal[1] as f32;
        let mut sum = [0.35 * sky, 0.42 * sky, 0.55 * sky];
        for lamp in &self.lamps {
            let facing = dot(direction(lamp.azimuth_deg, lamp.elevation_deg), normal).max(0.0);
            let area = (1.0 - lamp.radius_deg.to_radians().cos()) * 2.0;
            for (total, channel) in sum.iter_mut().zip(lamp.radiance) {
                *total += channel * (facing * area) as f32;
            }
        }
        sum.map(|channel| 0.18 * channel * self.gain)
    }

    fn side(&self, title: &str, crop_side: usize, blind_deg: f64) -> EvidenceSide {
        let radius = crop_side as f64 * 0.42;
        let middle = crop_side as f64 / 2.0;
        let outline = |step: u32| {
            let (sin, cos) = f64::from(step * 3).to_radians().sin_cos();
            [middle + radius * cos, middle + radius * sin]
        };
        let mark = |(index, lamp): (usize, &Lamp)| {
            let to = direction(lamp.azimuth_deg, lamp.elevation_deg);
            let half = (to[2] + 1.0).mul_add(2.0, 0.0).sqrt();
            LightMark {
                crop_xy: Some([middle + radius * to[0] / half, middle - radius * to[1] / half]),
                azimuth_deg: lamp.azimuth_deg,
                elevation_deg: lamp.elevation_deg,
                angular_radius_deg: (lamp.radius_deg > 1.5).then_some(lamp.radius_deg),
                share: ["71 %", ">=12 %", "6 %"][index.min(2)].to_owned(),
                label: ["key", "", ""][index.min(2)].to_owned(),
                clipped: index == 1,
            }
        };
        EvidenceSide {
            sphere: ShownSphere {
                title: title.to_owned(),
                crop: self.crop(crop_side, radius),
                outline_points: (0..120).map(outline).collect(),
                ghosts: Vec::new(),
                lights: self.lamps.iter().enumerate().map(mark).collect(),
            },
            unwrapped: self.unwrapped(720, blind_deg),
            matte: self.matte(240),
        }
    }
}

/// Evening sky, a bright band on the horizon, sea below with a pale quay to the right.
fn backdrop([x, y, z]: [f64; 3]) -> [f32; 3] {
    let up = y.max(0.0) as f32;
    let glow = (-(y.abs() * 14.0)).exp() as f32;
    let ripple = 1.0 + 0.25 * ((x * 31.0).sin() * (y * 47.0 + z * 9.0).sin()) as f32;
    if y > 0.0 {
        return [0.16 + 0.5 * glow + 0.03 * up, 0.22 + 0.34 * glow, 0.36 + 0.2 * glow - 0.08 * up];
    }
    let quay = if x > 0.55 && y > -0.35 { 0.16 } else { 0.0 };
    [0.035, 0.05, 0.06].map(|sea: f32| (sea + quay) * ripple + 0.12 * glow)
}

fn behind_the_sphere(x: f64, y: f64) -> [f32; 3] {
    let plank = if (x * 9.0).rem_euclid(1.0) < 0.06 { 0.5 } else { 1.0 };
    let shade = 0.10 + 0.03 * (y * 5.0).sin() as f32;
    [1.25, 1.0, 0.78].map(|tint: f32| tint * shade * plank)
}

fn lamp(azimuth_deg: f64, elevation_deg: f64, radius_deg: f64, radiance: [f32; 3]) -> Lamp {
    Lamp { azimuth_deg, elevation_deg, radius_deg, radiance }
}

/// The CG key stands 11.5 degrees too far round, everything is 0.42 stop over.
pub(super) fn mismatch() -> Evidence {
    let on_set = Surroundings {
        lamps: vec![
            lamp(-41.9, 31.2, 7.0, [110.0, 84.0, 50.0]),
            lamp(148.0, 12.5, 3.5, [60.0, 66.0, 80.0]),
            lamp(64.0, -4.0, 1.0, [30.0, 24.0, 12.0]),
        ],
        gain: 1.0,
    };
    let rendered = Surroundings {
        lamps: vec![lamp(-30.4, 28.7, 7.0, [110.0, 84.0, 50.0]), lamp(148.5, 12.0, 3.5, [60.0, 66.0, 80.0])],
        gain: 0.42_f32.exp2(),
    };
    let (mirror, cg) = (on_set.side("Mirror m1, on set", 360, 9.0), rendered.side("CG v012", 520, 7.0));
    let report = sample::mismatch();
    let line = |f: &crate::findings::Finding| FindingLine {
        check: f.check.to_string(),
        text: finding_words(f),
        verdict: f.verdict,
        is_on_set: f.concerns == Concerns::Reference,
        is_set_problem: is_set_problem(f),
    };
    Evidence {
        shot: report.shot.clone(),
        version: report.version.clone(),
        verdict: ShotVerdict::Mismatch,
        headline: Glance::of(&report).labelled_lines(),
        set_badge: set_problem_words(&report),
        from_inside: false,
        findings: report.findings.iter().map(line).collect(),
        difference_stops: difference(&mirror.unwrapped, &cg.unwrapped),
        mirror,
        cg,
        others: Vec::new(),
        exposure: 1.4,
    }
}

fn difference(mirror: &LinearPicture, cg: &LinearPicture) -> LinearPictureGrey {
    let values = mirror.rgb.iter().zip(&cg.rgb).map(|(m, c)| (c[1] / m[1]).log2()).collect();
    LinearPictureGrey { width: mirror.width, height: mirror.height, values }
}
