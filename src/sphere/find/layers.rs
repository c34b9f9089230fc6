//! Layers of the small learned nets: convolutions over grids of values, and weighted sums.
//!
//! Weights are little-endian 16-bit floats in the order in which they are used: of each layer first the weights (outputs by inputs by
//! taps), then the biases.

use half::f16;

use crate::base::parallel;

/// The weights of a net that are still to be used.
pub(super) struct Weights {
    left: &'static [u8],
}

impl Weights {
    /// Of a whole net.
    pub(super) const fn of(net: &'static [u8]) -> Self {
        Self { left: net }
    }

    fn take(&mut self, count: usize) -> Vec<f32> {
        let (taken, left) = self.left.split_at(2 * count);
        self.left = left;
        taken.chunks_exact(2).map(|b| f16::from_le_bytes([b[0], b[1]]).to_f32()).collect()
    }

    /// How many are left.
    #[cfg(test)]
    pub(super) fn left(&self) -> usize {
        self.left.len() / 2
    }
}

/// What lies to the left and right of a grid; above and below there is nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sides {
    /// Nothing.
    Empty,
    /// Its other end.
    Wrap,
}

/// A convolution: taps each way (odd), how many samples apart, and how many samples from one output to the next.
#[derive(Debug, Clone, Copy)]
pub(super) struct Convolution {
    pub channels: usize,
    pub taps: usize,
    pub dilation: usize,
    pub stride: usize,
    pub sides: Sides,
}

/// Channels of rows of columns.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub channels: usize,
    pub rows: usize,
    pub columns: usize,
    pub values: Vec<f32>,
}

impl Grid {
    /// One channel.
    pub(super) fn channel(&self, index: usize) -> &[f32] {
        let area = self.rows * self.columns;
        &self.values[index * area..(index + 1) * area]
    }

    /// The convolution and its bias.
    pub(super) fn convolved(&self, layer: Convolution, weights: &mut Weights) -> Self {
        let taps = layer.taps * layer.taps;
        let kernel = weights.take(layer.channels * self.channels * taps);
        let bias = weights.take(layer.channels);
        let padded = Padded::of(self, layer);
        let (rows, columns) = (self.rows.div_ceil(layer.stride), self.columns.div_ceil(layer.stride));
        let block = |first: &usize| {
            let count = BLOCK.min(layer.channels - first);
            let weight =
                |tap: usize, k: usize| if k < count { kernel[(first + k) * self.channels * taps + tap] } else { 0.0 };
            let passes: Vec<(usize, [f32; BLOCK])> =
                (0..self.channels * taps).map(|tap| (tap, std::array::from_fn(|k| weight(tap, k)))).collect();
            let begin: [f32; BLOCK] = std::array::from_fn(|k| if k < count { bias[first + k] } else { 0.0 });
            let mut out = vec![0.0; count * rows * columns];
            for row in 0..rows {
                let sources: Vec<(&[f32], [f32; BLOCK])> = passes
                    .iter()
                    .map(|(tap, weights)| {
                        let (input, down, across) = (tap / taps, tap % taps / layer.taps, tap % layer.taps);
                        (
                            padded.row(input, row * layer.stride + down * layer.dilation, across * layer.dilation),
                            *weights,
                        )
                    })
                    .collect();
                for column in (0..columns).step_by(TILE) {
                    let wide = TILE.min(columns - column);
                    let sums = if wide == TILE {
                        tile(&sources, column, begin)
                    } else {
                        narrow(&sources, column, wide, begin)
                    };
                    for (k, sums) in sums.iter().enumerate().take(count) {
                        out[(k * rows + row) * columns + column..][..wide].copy_from_slice(&sums[..wide]);
                    }
                }
            }
            out
        };
        let firsts: Vec<usize> = (0..layer.channels).step_by(BLOCK).collect();
        let values = parallel::map_each(&firsts, block).concat();
        Self { channels: layer.channels, rows, columns, values }
    }

    /// Negative values cut to 0.
    pub(super) fn cut(mut self) -> Self {
        self.values.iter_mut().for_each(|v| *v = v.max(0.0));
        self
    }

    /// The largest of two by two.
    pub(super) fn halved(&self) -> Self {
        let (rows, columns) = (self.rows / 2, self.columns / 2);
        let largest = |i: usize| {
            let (channel, row, column) = (i / (rows * columns), i / columns % rows, i % columns);
            let start = (channel * self.rows + 2 * row) * self.columns + 2 * column;
            let pair = |at: usize| self.values[at].max(self.values[at + 1]);
            pair(start).max(pair(start + self.columns))
        };
        let values = (0..self.channels * rows * columns).map(largest).collect();
        Self { channels: self.channels, rows, columns, values }
    }

    /// Every value two by two times.
    pub(super) fn doubled(&self) -> Self {
        let (rows, columns) = (2 * self.rows, 2 * self.columns);
        let value = |i: usize| {
            let (channel, row, column) = (i / (rows * columns), i / columns % rows, i % columns);
            self.values[(channel * self.rows + row / 2) * self.columns + column / 2]
        };
        Self {
            channels: self.channels,
            rows,
            columns,
            values: (0..self.channels * rows * columns).map(value).collect(),
        }
    }

    /// The sum of two grids of one shape.
    pub(super) fn plus(&self, other: &Self) -> Self {
        let values = self.values.iter().zip(&other.values).map(|(a, b)| a + b).collect();
        Self { values, ..*self }
    }

    /// Its channels, then those of another of the same rows and columns.
    pub(super) fn and(mut self, other: &Self) -> Self {
        self.channels += other.channels;
        self.values.extend_from_slice(&other.values);
        self
    }

    /// Means over the columns, then largest values.
    pub(super) fn over_columns(&self) -> Vec<f32> {
        let rows = || self.values.chunks_exact(self.columns);
        let means = rows().map(|row| row.iter().sum::<f32>() / self.columns as f32);
        means.chain(rows().map(|row| row.iter().copied().fold(f32::NEG_INFINITY, f32::max))).collect()
    }
}

/// Channels and columns that are summed at a time: as many sums as there are registers.
const BLOCK: usize = 4;
const TILE: usize = 8;

/// Sums over all taps of a tile of columns.
fn tile(sources: &[(&[f32], [f32; BLOCK])], column: usize, begin: [f32; BLOCK]) -> [[f32; TILE]; BLOCK] {
    let mut sums = begin.map(|bias| [bias; TILE]);
    for (source, weights) in sources {
        let values = &source[column..column + TILE];
        for k in 0..BLOCK {
            for i in 0..TILE {
                sums[k][i] += weights[k] * values[i];
            }
        }
    }
    sums
}

/// The same where fewer columns are left.
fn narrow(sources: &[(&[f32], [f32; BLOCK])], column: usize, wide: usize, begin: [f32; BLOCK]) -> [[f32; TILE]; BLOCK] {
    let mut sums = begin.map(|bias| [bias; TILE]);
    for (source, weights) in sources {
        for (sums, weight) in sums.iter_mut().zip(weights) {
            sums.iter_mut().zip(&source[column..column + wide]).for_each(|(sum, value)| *sum += weight * value);
        }
    }
    sums
}

/// A grid with room around it for the taps. Columns that lie a stride apart stand side by side, so that every pass over them is
/// a pass over neighbours.
struct Padded {
    rows: usize,
    stride: usize,
    phase: usize,
    values: Vec<f32>,
}

impl Padded {
    fn of(grid: &Grid, layer: Convolution) -> Self {
        let pad = layer.taps / 2 * layer.dilation;
        let (rows, columns) = (grid.rows + 2 * pad, grid.columns + 2 * pad);
        let phase = columns.div_ceil(layer.stride);
        let mut values = vec![0.0; grid.channels * rows * phase * layer.stride];
        for (i, source) in grid.values.chunks_exact(grid.columns).enumerate() {
            let row = (i / grid.rows) * rows + i % grid.rows + pad;
            let out = &mut values[row * phase * layer.stride..][..phase * layer.stride];
            for column in 0..columns {
                let inside = column.checked_sub(pad).filter(|c| *c < grid.columns);
                let wrapped = (column + grid.columns - pad % grid.columns) % grid.columns;
                let value = match (inside, layer.sides) {
                    (Some(column), _) => source[column],
                    (None, Sides::Wrap) => source[wrapped],
                    (None, Sides::Empty) => 0.0,
                };
                out[column % layer.stride * phase + column / layer.stride] = value;
            }
        }
        Self { rows, stride: layer.stride, phase, values }
    }

    /// Every stride-th value of a row, from a column on.
    fn row(&self, channel: usize, row: usize, column: usize) -> &[f32] {
        let start = (channel * self.rows + row) * self.phase * self.stride;
        let phase = &self.values[start + column % self.stride * self.phase..][..self.phase];
        &phase[column / self.stride..]
    }
}

/// Weighted sums and their biases.
pub(super) fn dense(values: &[f32], count: usize, weights: &mut Weights) -> Vec<f32> {
    let matrix = weights.take(count * values.len());
    let bias = weights.take(count);
    let sum = |row: &[f32]| row.iter().zip(values).map(|(w, v)| w * v).sum::<f32>();
    matrix.chunks_exact(values.len()).zip(bias).map(|(row, bias)| sum(row) + bias).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 to 24 in two rows of twelve.
    fn grid() -> Grid {
        Grid { channels: 1, rows: 2, columns: 12, values: (1..=24).map(|v| v as f32).collect() }
    }

    fn convolution(stride: usize, dilation: usize, sides: Sides) -> Convolution {
        Convolution { channels: 1, taps: 3, dilation, stride, sides }
    }

    /// Weights 1 to 9 and a bias of 0.5, as 16-bit floats.
    fn ones() -> Weights {
        const NET: &[u8] = &[
            0x00, 0x3c, 0x00, 0x40, 0x00, 0x42, 0x00, 0x44, 0x00, 0x45, 0x00, 0x46, 0x00, 0x47, 0x00, 0x48, 0x80, 0x48,
            0x00, 0x38,
        ];
        Weights::of(NET)
    }

    #[test]
    fn a_convolution_is_that_of_scipy() {
        // scipy.signal.correlate2d(a, arange(1, 10).reshape(3, 3), "same"), SciPy 1.17, then every second column.
        let plain = grid().convolved(convolution(1, 1, Sides::Empty), &mut ones());
        assert_eq!(&plain.values[..3], &[247.5, 370.5, 409.5]);
        let second = grid().convolved(convolution(2, 1, Sides::Empty), &mut ones());
        assert_eq!((second.rows, second.columns), (1, 6));
        let expected: Vec<f32> = plain.values[..12].iter().step_by(2).copied().collect();
        assert_eq!(second.values, expected);
    }

    #[test]
    fn the_other_end_is_the_neighbour_of_an_end() {
        let wrapped = grid().convolved(convolution(1, 1, Sides::Wrap), &mut ones());
        let turned = Grid { values: [&grid().values[1..12], &[1.0], &grid().values[13..], &[13.0]].concat(), ..grid() };
        let turned = turned.convolved(convolution(1, 1, Sides::Wrap), &mut ones());
        assert!((wrapped.values[1] - turned.values[0]).abs() < 1e-3);
        assert!((wrapped.values[0] - turned.values[11]).abs() < 1e-3);
    }

    #[test]
    fn channels_and_columns_beyond_a_block_are_summed_alike() {
        // Six channels of eleven columns: more than one block of channels, and a tile with columns left over.
        let weights: &'static [u8] =
            Box::leak((0..6 * 10).flat_map(|i| f16::from_f32(i as f32 / 8.0).to_le_bytes()).collect());
        let grid = Grid { channels: 1, rows: 1, columns: 11, values: (0..11).map(|v| v as f32).collect() };
        let layer = Convolution { channels: 6, ..convolution(1, 1, Sides::Empty) };
        let out = grid.convolved(layer, &mut Weights::of(weights));
        for (channel, column) in [(0, 0), (3, 7), (4, 8), (5, 10)] {
            // Only the middle row of taps lies in the grid.
            let tap = |k: usize| (9 * channel + 3 + k) as f32 / 8.0;
            let value = |k: usize| (column + k).checked_sub(1).filter(|c| *c < 11).map_or(0.0, |c| c as f32);
            let expected = (54 + channel) as f32 / 8.0 + (0..3).map(|k| tap(k) * value(k)).sum::<f32>();
            assert!((out.channel(channel)[column] - expected).abs() < 1e-3, "{channel} {column}");
        }
    }

    #[test]
    fn a_doubled_grid_halves_to_itself_and_channels_add_up() {
        let grid = grid();
        assert_eq!(grid.doubled().halved().values, grid.values);
        assert_eq!(grid.plus(&grid).values[22..], [46.0, 48.0]);
        let both = grid.clone().and(&grid);
        assert_eq!((both.channels, both.channel(1)), (2, grid.channel(0)));
    }

    #[test]
    fn taps_lie_apart_by_the_dilation() {
        // Only the middle row of taps lies in the grid: 4 × nothing, 5 × 1, 6 × 3, and the bias.
        let apart = grid().convolved(convolution(1, 2, Sides::Empty), &mut ones());
        assert!((apart.values[0] - 23.5).abs() < 1e-3);
    }
}
