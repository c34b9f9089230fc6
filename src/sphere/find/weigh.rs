//! How likely each round outline is that of a mirror sphere, from all its traits at once.
//!
//! Of the outlines of one frame at most one is the sphere's: their probabilities and that of "none of them" are the
//! exponentials of weighted sums, over their total (a conditional logit; McFadden 1974). The weights were fitted by
//! `golden/outside/weigh_traits.py` on the working half of `golden/outside` and its smoke set, never on a photograph that is reported.

use super::traits::COUNT;

/// One weight for each trait, in the order of the traits.
const WEIGHTS: [f64; COUNT] = [
    1.9686, 1.0199, 1.3209, 1.5685, -32.6314, -3.2186, 1.5085, 0.8125, 0.2089, 0.5553, -8.2372, -0.6594, -2.8509,
    0.9532, -2.7705, 3.0200, 1.3499, -1.3579,
];
/// What an outline's sum has to outweigh.
const NONE: f64 = 15.9826;

/// The probability of each outline of one frame.
pub(super) fn probabilities(traits: &[[f64; COUNT]]) -> Vec<f64> {
    let sums: Vec<f64> = traits.iter().map(|t| t.iter().zip(WEIGHTS).map(|(t, w)| t * w).sum()).collect();
    let highest = sums.iter().copied().fold(NONE, f64::max);
    let total: f64 = sums.iter().chain([&NONE]).map(|s| (s - highest).exp()).sum();
    sums.iter().map(|s| (s - highest).exp() / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_leave_room_for_none_and_grow_with_the_evidence() {
        let strong = [5.0, 4.0, 0.8, 0.8, 0.05, -5.5, -5.5, -1.0, 0.5, 0.0, 0.05, 0.0, 0.2, 0.0, 0.1, 0.5, 0.5, 0.0];
        let mut weak = strong;
        (weak[0], weak[1], weak[2]) = (2.0, 0.0, 0.4);
        let both = probabilities(&[strong, weak]);
        assert!(both[0] > both[1] && both.iter().sum::<f64>() < 1.0);
        assert!(probabilities(&[weak])[0] > both[1], "without a better one it is likelier");
        assert!(probabilities(&[]).is_empty());
    }
}
