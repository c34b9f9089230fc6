//! Decoded code values → scene-linear RGB, by table for 8 and 16 bits.

use crate::base::parallel;
use ::image::DynamicImage;

use super::super::encoding::Encoding;

/// Scene-linear pixels and coverage.
#[derive(Debug)]
pub(super) struct Linear {
    pub(super) rgb: Vec<[f32; 3]>,
    pub(super) alpha: Option<Vec<f32>>,
    /// Bits per sample of integer files.
    pub(super) integer_bits: Option<u8>,
    /// The file has one channel beside coverage.
    pub(super) grey: bool,
    /// Pixels that held NaN or Inf, now NaN throughout.
    pub(super) masked: u64,
}

/// Decodes a picture; `scale` multiplies floating-point samples after decoding. `None` for a layout not known here.
pub(super) fn linear(image: &DynamicImage, encoding: Encoding, scale: f32) -> Option<Linear> {
    let channels = usize::from(image.color().channel_count());
    let grey = channels <= 2;
    let linear = |(rgb, alpha), integer_bits| Linear { rgb, alpha, integer_bits, grey, masked: 0 };
    if let Some(samples) = eight_bit(image) {
        let table = table(encoding, 255);
        let pixels = convert(samples, channels, |v| table[usize::from(v)], |v| f32::from(v) / 255.0);
        return Some(linear(pixels, Some(8)));
    }
    if let Some(samples) = sixteen_bit(image) {
        let table = table(encoding, 65_535);
        let pixels = convert(samples, channels, |v| table[usize::from(v)], |v| f32::from(v) / 65_535.0);
        return Some(linear(pixels, Some(16)));
    }
    let samples = float(image)?;
    let decode = |v: f32| if encoding.is_linear() { v } else { encoding.decode(f64::from(v)) as f32 };
    let mut linear = linear(convert(samples, channels, |v| decode(v) * scale, |v| v), None);
    linear.masked = mask_invalid(&mut linear);
    Some(linear)
}

fn eight_bit(image: &DynamicImage) -> Option<&[u8]> {
    match image {
        DynamicImage::ImageLuma8(i) => Some(i),
        DynamicImage::ImageLumaA8(i) => Some(i),
        DynamicImage::ImageRgb8(i) => Some(i),
        DynamicImage::ImageRgba8(i) => Some(i),
        _ => None,
    }
}

fn sixteen_bit(image: &DynamicImage) -> Option<&[u16]> {
    match image {
        DynamicImage::ImageLuma16(i) => Some(i),
        DynamicImage::ImageLumaA16(i) => Some(i),
        DynamicImage::ImageRgb16(i) => Some(i),
        DynamicImage::ImageRgba16(i) => Some(i),
        _ => None,
    }
}

fn float(image: &DynamicImage) -> Option<&[f32]> {
    match image {
        DynamicImage::ImageRgb32F(i) => Some(i),
        DynamicImage::ImageRgba32F(i) => Some(i),
        _ => None,
    }
}

/// The linear value of every code from 0 to `top`.
fn table(encoding: Encoding, top: u32) -> Vec<f32> {
    parallel::map(top as usize + 1, |code| encoding.decode(code as f64 / f64::from(top)) as f32)
}

/// Interleaved samples → RGB, and coverage where the count of channels is even.
fn convert<T: Copy + Sync>(
    samples: &[T],
    channels: usize,
    light: impl Fn(T) -> f32 + Sync,
    coverage: impl Fn(T) -> f32 + Sync,
) -> (Vec<[f32; 3]>, Option<Vec<f32>>) {
    let count = samples.len() / channels.max(1);
    let pixel = |i: usize| &samples[i * channels..][..channels];
    let colour = |i: usize| match *pixel(i) {
        [grey] | [grey, _] => [light(grey); 3],
        [r, g, b, ..] => [light(r), light(g), light(b)],
        [] => [0.0; 3],
    };
    let rgb = parallel::map(count, colour);
    let has_alpha = channels.is_multiple_of(2) && channels > 0;
    let alpha = has_alpha.then(|| parallel::map(count, |i| coverage(pixel(i)[channels - 1])));
    (rgb, alpha)
}

/// Sets pixels with a NaN or Inf, in colour or coverage, to NaN throughout; returns how many.
fn mask_invalid(linear: &mut Linear) -> u64 {
    let mut masked = 0;
    let alpha = linear.alpha.as_deref_mut().unwrap_or_default();
    for (index, pixel) in linear.rgb.iter_mut().enumerate() {
        let coverage = alpha.get_mut(index).filter(|a| !a.is_finite());
        if coverage.is_some() || pixel.iter().any(|v| !v.is_finite()) {
            *pixel = [f32::NAN; 3];
            masked += 1;
        }
        if let Some(coverage) = coverage {
            *coverage = 0.0;
        }
    }
    masked
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_give_what_the_formula_gives() {
        let image = DynamicImage::ImageRgb16(::image::ImageBuffer::from_vec(1, 1, vec![0, 32_768, 65_535]).unwrap());
        let linear = linear(&image, Encoding::Srgb, 1.0).unwrap();
        let want = Encoding::Srgb.decode(32_768.0 / 65_535.0) as f32;
        assert_eq!(linear.rgb, vec![[0.0, want, 1.0]]);
        assert_eq!(linear.integer_bits, Some(16));
    }

    #[test]
    fn invalid_floats_are_masked_and_counted_once() {
        let samples = vec![1.0, f32::NAN, 2.0, f32::INFINITY, 1.0, 2.0, 3.0, 0.5];
        let image = DynamicImage::ImageRgba32F(::image::ImageBuffer::from_vec(2, 1, samples).unwrap());
        let linear = linear(&image, Encoding::SceneLinear, 1.0).unwrap();
        assert_eq!(linear.masked, 1);
        assert!(linear.rgb[0].iter().all(|v| v.is_nan()));
        assert_eq!((linear.rgb[1], linear.alpha.unwrap()), ([1.0, 2.0, 3.0], vec![0.0, 0.5]));
    }
}
