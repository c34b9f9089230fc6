//! The scorer: three convolutions over distance and angle, what is typical and what is strongest over all angles, and two
//! layers over that. Angles go round, so the unrolled picture has no left or right end.

use super::patch::RINGS;
use crate::sphere::find::layers::{Convolution, Grid, Sides, Weights, dense};
use crate::sphere::find::unrolled::{PLANES, SPOKES};

/// Channels after each convolution, and values in the hidden layer.
const CHANNELS: [usize; 3] = [16, 32, 48];
const HIDDEN: usize = 32;

/// Written by `golden/outside/learn_look.py`.
const NET: &[u8] = include_bytes!("net.bin");

/// ln of the odds, up to a constant, that the picture is of a mirror sphere.
pub(super) fn score(patch: Vec<f32>) -> f32 {
    score_by(patch, &mut Weights::of(NET))
}

fn score_by(values: Vec<f32>, weights: &mut Weights) -> f32 {
    let mut grid = Grid { channels: PLANES, rows: RINGS, columns: SPOKES, values };
    for channels in CHANNELS {
        let layer = Convolution { channels, taps: 3, dilation: 1, stride: 1, sides: Sides::Wrap };
        grid = grid.convolved(layer, weights).cut().halved();
    }
    let hidden: Vec<f32> = dense(&grid.over_columns(), HIDDEN, weights).iter().map(|v| v.max(0.0)).collect();
    dense(&hidden, 1, weights)[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patch(turn: usize) -> Vec<f32> {
        let value = |i: usize| {
            let (row, column) = (i / SPOKES, (i + SPOKES - turn) % SPOKES);
            ((row as f32 * 0.3).sin() + (column as f32 * 0.7).cos()) * 0.5
        };
        (0..PLANES * RINGS * SPOKES).map(value).collect()
    }

    #[test]
    fn all_weights_are_used() {
        let mut weights = Weights::of(NET);
        score_by(patch(0), &mut weights);
        assert_eq!(weights.left(), 0);
    }

    #[test]
    fn a_turned_picture_looks_the_same() {
        assert!((score(patch(0)) - score(patch(8))).abs() < 1e-3);
    }
}
