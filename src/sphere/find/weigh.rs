//! How likely each round outline is that of a mirror sphere, from all its traits at once.
//!
//! Of the outlines of one frame at most one is the sphere's: their probabilities and that of "none of them" are the
//! exponentials of weighted sums, over their total (a conditional logit; McFadden 1974). One of the traits is what a small net
//! learned of the look of mirror spheres (`look`), on shots that have no other part in this. The weights were fitted by
//! `golden/outside/weigh_traits.py` on the working half of `golden/outside` and its smoke set, plates without a sphere among
//! them, and never on a photograph. What got no weight there is no trait: the share of the rim that the frame shows, the squeeze
//! next to the rim, and how much brighter the inside is.

use super::traits::COUNT;

/// One weight for each trait, in the order of the traits.
const WEIGHTS: [f64; COUNT] = [
    0.9691, 0.0000, 0.0000, -6.2989, -0.5281, 0.9413, 1.7472, 1.5093, -0.0488, -7.7382, 0.0439, -2.6283, -1.0058,
    0.1151, 1.0368, 0.4264, 1.1882, -0.3520,
];
/// What an outline's sum has to outweigh.
const NONE: f64 = -5.487;

/// ln of the odds of each outline of one frame against none of them.
pub(super) fn log_odds(traits: &[[f64; COUNT]]) -> Vec<f64> {
    traits.iter().map(|t| t.iter().zip(WEIGHTS).map(|(t, w)| t * w).sum::<f64>() - NONE).collect()
}

/// The probability of each of several choices of which at most one is right, from ln of their odds against none.
pub(crate) fn probabilities(log_odds: &[f64]) -> Vec<f64> {
    let mut shares = shares(&[log_odds, &[0.0]].concat());
    shares.pop();
    shares
}

/// The probability of each of several choices of which one is right, from ln of their odds up to a constant.
pub(super) fn shares(odds: &[f64]) -> Vec<f64> {
    let highest = odds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = odds.iter().map(|o| (o - highest).exp()).sum();
    odds.iter().map(|o| (o - highest).exp() / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_leave_room_for_none_and_grow_with_the_evidence() {
        let strong = [5.0, 4.0, 0.8, 0.05, -5.5, -5.5, -1.0, -1.5, 0.0, 0.05, 0.0, 0.2, 0.1, 0.5, 0.5, 3.0, -2.0, 0.1];
        let mut weak = strong;
        (weak[0], weak[1], weak[2]) = (2.0, 0.0, 0.4);
        let odds = log_odds(&[strong, weak]);
        let both = probabilities(&odds);
        assert!(both[0] > both[1] && both.iter().sum::<f64>() < 1.0);
        assert!(probabilities(&odds[1..])[0] > both[1], "without a better one it is more likely");
        assert!(probabilities(&[]).is_empty());
        assert_eq!(shares(&[2.0, 2.0]), [0.5, 0.5]);
        approx::assert_relative_eq!(shares(&[0.0, 3.0_f64.ln()])[1], 0.75, epsilon = 1e-12);
    }
}
