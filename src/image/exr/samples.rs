//! Samples of a decompressed block → rows of floats, and what of them is no number.

use ::exr::meta::attribute::SampleType;
use ::exr::meta::header::Header;
use half::f16;
use half::slice::HalfFloatSliceExt;

use super::super::encoding::Encoding;
use super::unpacked::LaneBytes;

/// Where one channel's samples stand in a block's row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lane {
    /// Bytes per pixel of the channels before it.
    pub(super) bytes_before: usize,
    kind: SampleType,
}

impl Lane {
    /// The place of a channel in a block's rows.
    pub(super) fn of(header: &Header, index: usize) -> Self {
        let channels = &header.channels.list;
        let bytes_before = channels[..index].iter().map(|c| c.sample_type.bytes_per_sample()).sum();
        Self { bytes_before, kind: channels[index].sample_type }
    }

    /// Bytes of a sample.
    pub(super) fn sample_bytes(self) -> usize {
        self.kind.bytes_per_sample()
    }
}

/// One channel's row as floats, with the room that converting it needs.
pub(super) struct RowBuffer {
    pub(super) values: Vec<f32>,
    halves: Vec<f16>,
}

impl RowBuffer {
    pub(super) fn new(width: usize) -> Self {
        Self { values: vec![0.0; width], halves: vec![f16::ZERO; width] }
    }

    /// Takes a channel's samples of one row.
    pub(super) fn fill(&mut self, samples: LaneBytes<'_>, lane: Lane) {
        match (samples, lane.kind) {
            (LaneBytes::Whole(bytes), SampleType::F16) => {
                self.fill_halves(bytes.as_chunks::<2>().0.iter().map(|two| u16::from_ne_bytes(*two)));
            }
            (LaneBytes::Halves(first, second), SampleType::F16) => {
                self.fill_halves(first.iter().zip(second).map(|(a, b)| u16::from_le_bytes([*a, *b])));
            }
            (LaneBytes::Whole(bytes), kind) => {
                self.fill_words(bytes.as_chunks::<4>().0.iter().map(|four| u32::from_ne_bytes(*four)), kind);
            }
            (LaneBytes::Halves(first, second), kind) => {
                let pairs = first.as_chunks::<2>().0.iter().zip(second.as_chunks::<2>().0);
                self.fill_words(pairs.map(|(a, b)| u32::from_le_bytes([a[0], b[0], a[1], b[1]])), kind);
            }
        }
    }

    fn fill_halves(&mut self, bits: impl Iterator<Item = u16>) {
        for (half, bits) in self.halves.iter_mut().zip(bits) {
            *half = f16::from_bits(bits);
        }
        self.halves.convert_to_f32_slice(&mut self.values);
    }

    fn fill_words(&mut self, words: impl Iterator<Item = u32>, kind: SampleType) {
        let value = |word: u32| if kind == SampleType::F32 { f32::from_bits(word) } else { word as f32 };
        for (out, word) in self.values.iter_mut().zip(words) {
            *out = value(word);
        }
    }

    pub(super) fn decode(&mut self, encoding: Encoding) {
        if !encoding.is_linear() {
            for value in &mut self.values {
                *value = encoding.decode(f64::from(*value)) as f32;
            }
        }
    }
}

/// Sets pixels with a NaN or Inf to NaN throughout; returns how many.
pub(super) fn mask_invalid(rgb: &mut [[f32; 3]]) -> u64 {
    // No early exit: one branch-free pass over the row is the usual case.
    if !rgb.iter().flatten().fold(false, |invalid, v| invalid | !v.is_finite()) {
        return 0;
    }
    let mut masked = 0;
    for pixel in rgb.iter_mut().filter(|p| p.iter().any(|v| !v.is_finite())) {
        *pixel = [f32::NAN; 3];
        masked += 1;
    }
    masked
}

/// Coverage that is NaN or Inf says nothing about its pixel: the pixel is masked, its coverage 0.
pub(super) fn mask_invalid_coverage(rgb: &mut [[f32; 3]], alpha: &mut [f32]) -> u64 {
    let mut masked = 0;
    for (pixel, coverage) in rgb.iter_mut().zip(alpha).filter(|(_, a)| !a.is_finite()) {
        *coverage = 0.0;
        // A pixel whose colour is invalid too has been counted.
        if pixel.iter().all(|v| v.is_finite()) {
            *pixel = [f32::NAN; 3];
            masked += 1;
        }
    }
    masked
}
