//! From light on the sensor to recorded values: haze, lens blur, noise, ceiling, code steps.

use super::noise::gaussian;
use crate::base::parallel;
use crate::image::Size;

/// Haze or flare: part of the light is spread over the neighbourhood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Veil {
    /// Part of the light that is spread, 0 to 1.
    pub fraction: f64,
    /// Standard deviation of the spread in pixels.
    pub sigma_px: f64,
}

/// Noise whose variance is `read² + shot · value`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Chooses the pattern.
    pub seed: u64,
    /// Standard deviation in the dark.
    pub read: f64,
    /// Variance per recorded value.
    pub shot: f64,
}

impl Noise {
    fn add(&self, value: f32, index: u64) -> f32 {
        let sd = (self.read * self.read + self.shot * f64::from(value).max(0.0)).sqrt();
        (f64::from(value) + sd * gaussian(self.seed, index)) as f32
    }
}

/// What is seen beside the sphere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Background {
    /// The scene; the picture has no alpha.
    #[default]
    Shown,
    /// Nothing: colour premultiplied by coverage, with alpha.
    Transparent,
}

/// How the frame is taken.
#[derive(Debug, Clone, PartialEq)]
pub struct RenderOptions {
    /// Samples across an ordinary pixel of the sphere (3 = 9 rays). Flat background gets one.
    pub samples: usize,
    /// What is seen beside the sphere.
    pub background: Background,
    /// A stand that hides the sphere's foot.
    pub stand: bool,
    /// Factor per channel: exposure and colour of the recording.
    pub gain: [f64; 3],
    /// By how much the background is moved right and down against the view (camera nudged), in pixels.
    pub background_shift_px: [f64; 2],
    /// Standard deviation of the lens's blur in pixels; 0 for none.
    pub blur_px: f64,
    /// Haze or flare over the whole frame.
    pub veil: Option<Veil>,
    /// Noise of the recording.
    pub noise: Option<Noise>,
    /// Recorded values end here.
    pub clip_level: Option<f64>,
    /// Recorded steps per stop; `None` for all that the float holds.
    pub steps_per_stop: Option<f64>,
}

impl Default for RenderOptions {
    fn default() -> Self {
        Self {
            samples: 3,
            background: Background::Shown,
            stand: false,
            gain: [1.0; 3],
            background_shift_px: [0.0; 2],
            blur_px: 0.0,
            veil: None,
            noise: None,
            clip_level: None,
            steps_per_stop: None,
        }
    }
}

/// Records light: applies everything that the options ask for, in the order in which a camera does (haze, lens blur,
/// noise, ceiling, code steps). `rgb` is linear, rows from the top.
pub fn develop(mut rgb: Vec<[f32; 3]>, size: Size, options: &RenderOptions) -> Vec<[f32; 3]> {
    if let Some(veil) = options.veil {
        let spread = blurred(&rgb, size, veil.sigma_px);
        let part = veil.fraction as f32;
        parallel::each(&mut rgb, |index, sharp| {
            let soft = &spread[index];
            *sharp = [0, 1, 2].map(|c| sharp[c] + (soft[c] - sharp[c]) * part);
        });
    }
    if options.blur_px > 0.0 {
        rgb = blurred(&rgb, size, options.blur_px);
    }
    parallel::each(&mut rgb, |index, pixel| {
        *pixel = [0, 1, 2].map(|c| record(pixel[c], (index * 3 + c) as u64, options));
    });
    rgb
}

fn record(value: f32, index: u64, options: &RenderOptions) -> f32 {
    let noisy = options.noise.map_or(value, |noise| noise.add(value, index));
    let limited = options.clip_level.map_or(noisy, |level| noisy.min(level as f32));
    options.steps_per_stop.map_or(limited, |steps| to_step(limited, steps as f32))
}

/// The nearest of `steps` equal values per octave, as a float with a shorter mantissa holds it.
fn to_step(value: f32, steps: f32) -> f32 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let octave = value.abs().log2().floor().max(-12.0).exp2();
    (value / octave * steps).round() / steps * octave
}

/// Gaussian blur, the border repeated. Keeps the sum up to what the border adds.
fn blurred(rgb: &[[f32; 3]], size: Size, sigma_px: f64) -> Vec<[f32; 3]> {
    let kernel = gaussian_kernel(sigma_px);
    let reach = kernel.len() / 2;
    let gather = |source: &[[f32; 3]], at: &dyn Fn(usize) -> usize| {
        kernel.iter().enumerate().fold([0.0_f32; 3], |sum, (k, weight)| {
            let pixel = source[at(k)];
            [0, 1, 2].map(|c| sum[c] + weight * pixel[c])
        })
    };
    let clamped = |place: usize, k: usize, last: usize| (place + k).saturating_sub(reach).min(last);
    let pass = |source: &[[f32; 3]], across: bool| -> Vec<[f32; 3]> {
        let one = |index: usize| {
            let (x, y) = (index % size.width, index / size.width);
            if across {
                gather(source, &|k| y * size.width + clamped(x, k, size.width - 1))
            } else {
                gather(source, &|k| clamped(y, k, size.height - 1) * size.width + x)
            }
        };
        parallel::map(source.len(), one)
    };
    pass(&pass(rgb, true), false)
}

fn gaussian_kernel(sigma_px: f64) -> Vec<f32> {
    let reach = (3.0 * sigma_px).ceil().max(1.0) as i32;
    let weight = |k: i32| (-0.5 * (f64::from(k) / sigma_px.max(1e-3)).powi(2)).exp();
    let total: f64 = (-reach..=reach).map(weight).sum();
    (-reach..=reach).map(|k| (weight(k) / total) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blur_keeps_energy_and_gives_the_asked_spread() {
        let size = Size { width: 61, height: 41 };
        let mut rgb = vec![[0.0_f32; 3]; 61 * 41];
        rgb[20 * 61 + 30] = [8.0; 3];
        let soft = blurred(&rgb, size, 3.0);
        let total: f32 = soft.iter().map(|p| p[0]).sum();
        let second: f32 = soft.iter().enumerate().map(|(i, p)| p[0] * ((i % 61) as f32 - 30.0).powi(2)).sum();
        assert!((total - 8.0).abs() < 1e-4);
        // Cut at 3 sigma the variance of a Gaussian is 2.7 % smaller.
        assert!(((second / total).sqrt() - 3.0).abs() < 0.06);
    }

    #[test]
    fn steps_are_at_most_half_a_step_off() {
        for i in 1..2000 {
            let value = i as f32 * 0.0173;
            assert!((to_step(value, 64.0) / value - 1.0).abs() <= 0.5 / 64.0 + 1e-6);
        }
        assert!(to_step(0.0, 64.0).abs() < f32::MIN_POSITIVE);
    }
}
