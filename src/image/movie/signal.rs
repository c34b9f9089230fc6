//! From stored codes to red, green and blue as they were before the recorder took them apart: range, matrix and the place of
//! the colour differences (ITU-T H.273).

use super::layout::{Family, Layout, Planes};
use super::{CodeRange, Field, Matrix};

/// Where colour differences lie between luma samples, in luma samples from the first one (H.273, figure 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Siting {
    /// To the right.
    pub(super) across: f32,
    /// Downwards.
    pub(super) down: f32,
}

/// How the codes of a frame are read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub(super) layout: Layout,
    pub(super) range: CodeRange,
    pub(super) matrix: Matrix,
    pub(super) siting: Siting,
}

impl Matrix {
    /// What red and blue weigh in luma.
    fn weights(self) -> [f64; 2] {
        match self {
            Self::Bt709 => [0.2126, 0.0722],  // ITU-R BT.709-6, item 3.2
            Self::Bt601 => [0.299, 0.114],    // ITU-R BT.601-7, 2.5.1
            Self::Bt2020 => [0.2627, 0.0593], // ITU-R BT.2020-2, table 4, non-constant luminance
            Self::Smpte240 => [0.212, 0.087], // SMPTE ST 240, by H.273, table 4
        }
    }
}

impl Reading {
    /// Signal of luma, or of red, green, blue: 0 black and 1 white.
    fn level(&self) -> [f32; 2] {
        let step = (1_u32 << (self.layout.bits - 8)) as f32;
        match self.range {
            CodeRange::Limited => [16.0 * step, 1.0 / (219.0 * step)],
            CodeRange::Full => [0.0, 1.0 / ((1_u32 << self.layout.bits) - 1) as f32],
        }
    }

    /// Signal of a colour difference: −0.5 to 0.5.
    fn difference(&self) -> [f32; 2] {
        let step = (1_u32 << (self.layout.bits - 8)) as f32;
        match self.range {
            CodeRange::Limited => [128.0 * step, 1.0 / (224.0 * step)],
            CodeRange::Full => [128.0 * step, 1.0 / ((1_u32 << self.layout.bits) - 1) as f32],
        }
    }

    /// The signal of a fraction of the highest code.
    pub(super) fn signal_of(&self, fraction: f64) -> f64 {
        let [zero, scale] = self.level().map(f64::from);
        (f64::from((1_u32 << self.layout.bits) - 1) * fraction - zero) * scale
    }

    /// Red, green and blue of one row, as signals.
    pub(super) fn row(&self, planes: &Planes, row: usize, out: &mut [[f32; 3]]) {
        let [zero, scale] = self.level();
        let level = |code: u16| (f32::from(code) - zero) * scale;
        let width = planes.size[0];
        let first = &planes.first[row * width..(row + 1) * width];
        match self.layout.family {
            Family::Grey => {
                for (pixel, code) in out.iter_mut().zip(first) {
                    *pixel = [level(*code); 3];
                }
            }
            Family::Rgb => {
                let [blue, red] = [0, 1].map(|i| &planes.others[i][row * width..(row + 1) * width]);
                for (i, pixel) in out.iter_mut().enumerate() {
                    *pixel = [level(red[i]), level(first[i]), level(blue[i])];
                }
            }
            Family::Ycbcr => self.ycbcr_row(planes, row, first, out),
        }
    }

    fn ycbcr_row(&self, planes: &Planes, row: usize, luma: &[u16], out: &mut [[f32; 3]]) {
        let [zero, scale] = self.level();
        let [zero_difference, scale_difference] = self.difference();
        let [other_width, other_height] = planes.other_size;
        let [across, down] = self.layout.subsampling.map(|power| (1_u32 << power) as f32);
        let (upper, lower, down_weight) = between((row as f32 - self.siting.down) / down, other_height);
        // Both colour differences at this height.
        let line = |plane: &[u16]| -> Vec<f32> {
            let rows = [upper, lower].map(|y| &plane[y * other_width..(y + 1) * other_width]);
            let mixed = rows[0]
                .iter()
                .zip(rows[1])
                .map(|(a, b)| f32::from(*a) * (1.0 - down_weight) + f32::from(*b) * down_weight);
            mixed.map(|code| (code - zero_difference) * scale_difference).collect()
        };
        let [blue, red] = [0, 1].map(|i| line(&planes.others[i]));
        let [red_weight, blue_weight] = self.matrix.weights();
        let green_weight = 1.0 - red_weight - blue_weight;
        let to_red = (2.0 * (1.0 - red_weight)) as f32;
        let to_blue = (2.0 * (1.0 - blue_weight)) as f32;
        let green_by_red = (2.0 * (1.0 - red_weight) * red_weight / green_weight) as f32;
        let green_by_blue = (2.0 * (1.0 - blue_weight) * blue_weight / green_weight) as f32;
        for (column, (pixel, code)) in out.iter_mut().zip(luma).enumerate() {
            let (left, right, weight) = between((column as f32 - self.siting.across) / across, other_width);
            let at = |line: &[f32]| line[left] * (1.0 - weight) + line[right] * weight;
            let (y, cb, cr) = ((f32::from(*code) - zero) * scale, at(&blue), at(&red));
            *pixel = [y + to_red * cr, y - green_by_red * cr - green_by_blue * cb, y + to_blue * cb];
        }
    }

    /// The same for one field of an interlaced picture: of 4:2:0 its colour differences lie a quarter or three quarters of the way
    /// between two of its own rows (ITU-T H.262, figure 6-2).
    pub(super) fn of_field(&self, field: Field) -> Self {
        let down = match (self.layout.subsampling[1], field) {
            (0, _) | (_, Field::Whole) => return *self,
            (_, Field::Upper) => 0.25,
            (_, Field::Lower) => 0.75,
        };
        Self { siting: Siting { down, ..self.siting }, ..*self }
    }
}

/// The two places around a position among `count`, and how much of the second; held at the ends.
fn between(position: f32, count: usize) -> (usize, usize, f32) {
    let last = count.saturating_sub(1);
    let position = position.clamp(0.0, last as f32);
    let first = position.floor() as usize;
    (first, (first + 1).min(last), position - first as f32)
}

impl Planes {
    /// Every second row, from the first or from the second on.
    pub(super) fn of_field(&self, field: Field) -> Self {
        let from = usize::from(field == Field::Lower);
        let half = |plane: &[u16], [width, height]: [usize; 2]| -> Vec<u16> {
            (from..height).step_by(2).flat_map(|row| &plane[row * width..(row + 1) * width]).copied().collect()
        };
        let rows = |height: usize| height.saturating_sub(from).div_ceil(2);
        Self {
            first: half(&self.first, self.size),
            others: [0, 1].map(|i| half(&self.others[i], self.other_size)),
            size: [self.size[0], rows(self.size[1])],
            other_size: [self.other_size[0], rows(self.other_size[1])],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(name: &str, range: CodeRange, matrix: Matrix) -> Reading {
        Reading { layout: Layout::parse(name).unwrap(), range, matrix, siting: Siting { across: 0.0, down: 0.5 } }
    }

    fn pixel(reading: &Reading, codes: [u16; 3]) -> [f32; 3] {
        let planes = Planes {
            first: vec![codes[0]],
            others: [vec![codes[1]], vec![codes[2]]],
            size: [1, 1],
            other_size: [1, 1],
        };
        let mut out = [[0.0; 3]];
        reading.row(&planes, 0, &mut out);
        out[0]
    }

    /// The 75 % bars of SMPTE RP 219: yellow, cyan, green, magenta, red, blue as 10-bit BT.709 codes (from memory), within half a code.
    #[test]
    fn colour_bars_come_out_of_their_published_codes() {
        let reading = reading("yuv444p10le", CodeRange::Limited, Matrix::Bt709);
        for (codes, rgb) in [
            ([721, 512, 512], [0.75, 0.75, 0.75]),
            ([674, 176, 543], [0.75, 0.75, 0.0]),
            ([581, 589, 176], [0.0, 0.75, 0.75]),
            ([534, 253, 207], [0.0, 0.75, 0.0]),
            ([251, 771, 817], [0.75, 0.0, 0.75]),
            ([204, 435, 848], [0.75, 0.0, 0.0]),
            ([111, 848, 481], [0.0, 0.0, 0.75]),
        ] {
            for (value, expected) in pixel(&reading, codes).iter().zip(rgb) {
                assert!((value - expected).abs() < 2.5e-3, "{codes:?}: {value} {expected}");
            }
        }
    }

    /// H.273, equations 2 to 31: white and black of both ranges are the same for every matrix.
    #[test]
    fn grey_is_grey_in_every_matrix_and_range() {
        for matrix in [Matrix::Bt709, Matrix::Bt601, Matrix::Bt2020, Matrix::Smpte240] {
            let is = |rgb: [f32; 3], level: f32| rgb.iter().all(|v| (v - level).abs() < 1e-6);
            let limited = reading("yuv444p", CodeRange::Limited, matrix);
            assert!(is(pixel(&limited, [235, 128, 128]), 1.0));
            assert!(is(pixel(&limited, [16, 128, 128]), 0.0));
            let full = reading("yuv444p", CodeRange::Full, matrix);
            assert!(is(pixel(&full, [255, 128, 128]), 1.0));
            assert!(pixel(&limited, [255, 128, 128])[0] > 1.09, "super-white is kept");
        }
    }

    #[test]
    fn colour_differences_are_read_where_they_lie() {
        let reading = reading("yuv420p", CodeRange::Full, Matrix::Bt709);
        let planes = Planes {
            first: vec![128; 16],
            others: [vec![128; 4], vec![100, 140, 100, 140]],
            size: [4, 4],
            other_size: [2, 2],
        };
        let mut row = [[0.0; 3]; 4];
        reading.row(&planes, 1, &mut row);
        let red = |code: f32| 128.0 / 255.0 + 1.5748 * (code - 128.0) / 255.0;
        for (column, code) in [100.0, 120.0, 140.0, 140.0].into_iter().enumerate() {
            assert!((row[column][0] - red(code)).abs() < 1e-6, "{column}");
        }
    }

    #[test]
    fn a_field_is_every_second_row() {
        let planes = Planes {
            first: vec![1, 2, 3, 4, 5],
            others: [vec![6, 7, 8], vec![9, 10, 11]],
            size: [1, 5],
            other_size: [1, 3],
        };
        let lower = planes.of_field(Field::Lower);
        assert_eq!((lower.first, lower.size, lower.other_size), (vec![2, 4], [1, 2], [1, 1]));
        assert_eq!(planes.of_field(Field::Upper).first, [1, 3, 5]);
    }
}
