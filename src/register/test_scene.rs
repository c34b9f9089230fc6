//! Pictures with known truth for the tests: a texture given by a formula, so that a shifted picture is evaluated at
//! shifted coordinates and never interpolated.

use std::f64::consts::TAU;

use crate::base::parallel;
use crate::image::{Frame, Size};

/// Pseudo-random numbers with a seed (SplitMix64; Steele, Lea & Flood 2014).
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal.
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (TAU * self.uniform()).cos()
    }
}

/// A sum of sinusoids of random direction with wavelengths from `shortest` to `longest` pixels, rms `contrast`.
pub(crate) struct Texture {
    waves: Vec<[f64; 4]>,
}

impl Texture {
    pub(crate) fn new(seed: u64, shortest: f64, longest: f64, contrast: f64) -> Self {
        const WAVES: usize = 16;
        let mut random = Random::new(seed);
        let amplitude = contrast * (2.0 / WAVES as f64).sqrt();
        let wave = |_| {
            let length = shortest * (longest / shortest).powf(random.uniform());
            let angle = TAU * random.uniform();
            [TAU / length * angle.cos(), TAU / length * angle.sin(), TAU * random.uniform(), amplitude]
        };
        Self { waves: (0..WAVES).map(wave).collect() }
    }

    /// All waves run along x: detail in one direction only.
    pub(crate) fn striped(mut self) -> Self {
        for wave in &mut self.waves {
            *wave = [wave[0].hypot(wave[1]), 0.0, wave[2], wave[3]];
        }
        self
    }

    pub(crate) fn at(&self, x: f64, y: f64) -> f64 {
        self.waves.iter().map(|[kx, ky, phase, a]| a * (kx * x + ky * y + phase).sin()).sum()
    }
}

/// A frame of `value(x, y)` at pixel centres, linear BT.709, no clipping.
pub(crate) fn frame(size: [usize; 2], value: impl Fn(f64, f64) -> [f64; 3] + Sync) -> Frame {
    let rgb = parallel::map(size[0] * size[1], |i| {
        value((i % size[0]) as f64 + 0.5, (i / size[0]) as f64 + 0.5).map(|v| v as f32)
    });
    Frame::computed("test.exr", Size { width: size[0], height: size[1] }, rgb)
}

/// The frame with Gaussian noise of the given standard deviation.
pub(crate) fn with_noise(mut frame: Frame, seed: u64, sd: f64) -> Frame {
    let mut random = Random::new(seed);
    for rgb in &mut frame.rgb {
        *rgb = rgb.map(|v| (f64::from(v) + sd * random.normal()) as f32);
    }
    frame
}

/// The frame multiplied by a factor per channel.
pub(crate) fn scaled(mut frame: Frame, factor: [f64; 3]) -> Frame {
    for rgb in &mut frame.rgb {
        *rgb = [0, 1, 2].map(|c| (f64::from(rgb[c]) * factor[c]) as f32);
    }
    frame
}

/// The frame with everything above a level cut to it.
pub(crate) fn clipped(mut frame: Frame, level: f32) -> Frame {
    for rgb in &mut frame.rgb {
        *rgb = rgb.map(|v| v.min(level));
    }
    frame.clip_level = Some([level; 3]);
    frame
}
