//! The net: two convolutions over distance and angle, five more at half the resolution that see most of the circle, and one that puts
//! both together. Angles go round.

use super::RINGS;
use crate::sphere::find::layers::{Convolution, Grid, Sides, Weights};
use crate::sphere::find::unrolled::{PLANES, SPOKES};

/// Channels at full and at half the resolution.
const FINE: usize = 16;
const COARSE: usize = 32;
/// Dilations of the convolutions at half the resolution.
const DILATIONS: [usize; 4] = [1, 2, 4, 8];

/// Written by `golden/outside/learn_rim.py`.
const NET: &[u8] = include_bytes!("net.bin");

/// For every spoke the chance of each ring; rings by spokes.
pub(super) fn chances(picture: Vec<f32>) -> Vec<f64> {
    let odds = odds(picture, &mut Weights::of(NET));
    let mut chances = vec![0.0; RINGS * SPOKES];
    for spoke in 0..SPOKES {
        let of = || (0..RINGS).map(|ring| f64::from(odds[ring * SPOKES + spoke]));
        let highest = of().fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = of().map(|o| (o - highest).exp()).sum();
        of().enumerate().for_each(|(ring, o)| chances[ring * SPOKES + spoke] = (o - highest).exp() / total);
    }
    chances
}

fn odds(picture: Vec<f32>, weights: &mut Weights) -> Vec<f32> {
    let layer = |channels: usize, dilation: usize, taps: usize| Convolution {
        channels,
        taps,
        dilation,
        stride: 1,
        sides: Sides::Wrap,
    };
    let grid = Grid { channels: PLANES, rows: RINGS, columns: SPOKES, values: picture };
    let fine = grid.convolved(layer(FINE, 1, 3), weights).cut().convolved(layer(FINE, 1, 3), weights).cut();
    let mut coarse = fine.halved().convolved(layer(COARSE, 1, 3), weights).cut();
    for dilation in DILATIONS {
        coarse = coarse.plus(&coarse.convolved(layer(COARSE, dilation, 3), weights).cut());
    }
    let both = fine.and(&coarse.doubled()).convolved(layer(FINE, 1, 3), weights).cut();
    both.convolved(layer(1, 1, 1), weights).values
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(turn: usize) -> Vec<f32> {
        let value = |i: usize| {
            let (row, column) = (i / SPOKES, (i + SPOKES - turn) % SPOKES);
            ((row as f32 * 0.3).sin() + (column as f32 * 0.7).cos()) * 0.5
        };
        (0..PLANES * RINGS * SPOKES).map(value).collect()
    }

    #[test]
    fn all_weights_are_used() {
        let mut weights = Weights::of(NET);
        odds(picture(0), &mut weights);
        assert_eq!(weights.left(), 0);
    }

    #[test]
    fn a_turned_picture_has_its_rim_at_the_same_distances() {
        let (plain, turned) = (chances(picture(0)), chances(picture(6)));
        for ring in 0..RINGS {
            let [a, b] = [plain[ring * SPOKES + 10], turned[ring * SPOKES + 16]];
            assert!((a - b).abs() < 1e-3, "{ring}: {a} {b}");
        }
        let total: f64 = (0..RINGS).map(|ring| plain[ring * SPOKES]).sum();
        approx::assert_relative_eq!(total, 1.0, epsilon = 1e-6);
    }
}
