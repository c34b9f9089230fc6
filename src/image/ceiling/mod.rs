//! The ceiling of a rendered picture: a plateau of pixels that stand at exactly the highest value. [`photograph`] looks for
//! that of a photograph.
//!
//! Light varies from pixel to pixel; what was cut off does not. A render of an evenly bright emitter has a plateau as
//! well, but there all channels reach their highest value together, while clipping takes them one after the other.

pub(crate) mod photograph;
pub(crate) mod spike;

use super::{DataWindow, Frame};
use crate::base::parallel;

/// Squares of 2 × 2 pixels at the highest value that make a plateau.
const LEAST_SQUARES: usize = 4;

/// Pixels with one channel at its highest value and another below it, at least so many …
const LEAST_MIXED: usize = 8;
/// … and this part of those where all channels are at theirs, tell clipping.
const MIXED_PART: f64 = 0.05;
/// A channel below its highest value lies this far below: what rounds to it counts as there.
const BELOW: f32 = 0.98;

/// Display white, and the largest half float: values that light has no reason to stop at.
const SUSPECT: [f32; 2] = [DISPLAY_WHITE, 65504.0];

/// Where a picture made for a display ends.
pub(crate) const DISPLAY_WHITE: f32 = 1.0;

/// The highest value of each channel among the pixels of `window` (first column, first row, one past the last ones),
/// where it is a ceiling; with the number of pixels that stand at it.
pub(crate) fn plateau(frame: &Frame, window: [i64; 4]) -> Option<([f32; 3], usize)> {
    let [left, top, right, bottom] = window;
    let side = |from: i64, to: i64| usize::try_from(to.saturating_sub(from)).unwrap_or(0);
    let asked = DataWindow { x: left, y: top, width: side(left, right), height: side(top, bottom) };
    let in_frame = asked.within(&frame.data);
    let highest = parallel::map(in_frame.height, |row| {
        present(frame, &in_frame, row).fold([f32::MIN; 3], |high, rgb| [0, 1, 2].map(|c| high[c].max(rgb[c])))
    });
    let highest = highest.into_iter().fold([f32::MIN; 3], |high, row| [0, 1, 2].map(|c| high[c].max(row[c])));
    if highest.iter().any(|v| !v.is_finite() || *v <= 0.0) {
        return None;
    }
    let at = |rgb: &[f32; 3]| [0, 1, 2].map(|c| rgb[c] >= highest[c]);
    let counted = parallel::map(in_frame.height, |row| {
        let (mut all, mut mixed) = (0, 0);
        for rgb in present(frame, &in_frame, row) {
            let there = at(rgb);
            all += usize::from(there == [true; 3]);
            let below = (0..3).any(|c| rgb[c] < BELOW * highest[c]);
            mixed += usize::from(there.contains(&true) && below);
        }
        (all, mixed)
    });
    let (all, mixed) = counted.into_iter().fold((0, 0), |sum, row| (sum.0 + row.0, sum.1 + row.1));
    if all + mixed < 4 * LEAST_SQUARES {
        return None;
    }
    let squares = |holds: &dyn Fn([bool; 3]) -> bool| {
        let there = |x: i64, y: i64| frame.pixel(x, y).is_some_and(|rgb| holds(at(&rgb)));
        let corners = (top..bottom - 1).flat_map(|y| (left..right - 1).map(move |x| (x, y)));
        let square = |(x, y): &(i64, i64)| [(0, 0), (1, 0), (0, 1), (1, 1)].iter().all(|(i, j)| there(x + i, y + j));
        corners.filter(square).count()
    };
    let one_by_one = mixed >= LEAST_MIXED.max((MIXED_PART * all as f64) as usize);
    let cut_one_by_one = || one_by_one && squares(&|there| there == [true; 3]) >= LEAST_SQUARES;
    let suspect = highest.map(|level| SUSPECT.contains(&level));
    let cut_at_white = || squares(&|there| (0..3).any(|c| there[c] && suspect[c])) >= LEAST_SQUARES;
    (cut_one_by_one() || cut_at_white()).then_some((highest, all + mixed))
}

/// The pixels of a row of a part of the frame that are not masked.
fn present<'a>(frame: &'a Frame, part: &DataWindow, row: usize) -> impl Iterator<Item = &'a [f32; 3]> {
    let first = (part.y - frame.data.y) as usize * frame.data.width + (part.x - frame.data.x) as usize;
    let start = first + row * frame.data.width;
    frame.rgb[start..start + part.width].iter().filter(|rgb| rgb[0].is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;

    const SIDE: usize = 64;

    /// A soft light of a colour on a grey ground, and what is done to each pixel.
    fn picture(colour: [f32; 3], done: impl Fn(f32) -> f32) -> Frame {
        let pixel = |i: usize| {
            let (x, y) = place(i);
            let light = 8.0 * (-(x * x + y * y) / 160.0).exp();
            colour.map(|c| done(0.1 + light * c))
        };
        Frame::computed("test", Size { width: SIDE, height: SIDE }, (0..SIDE * SIDE).map(pixel).collect())
    }

    /// Of a pixel, from about the middle of the picture.
    fn place(i: usize) -> (f32, f32) {
        ((i % SIDE) as f32 - 31.3, (i / SIDE) as f32 - 30.8)
    }

    fn found(frame: &Frame) -> Option<[f32; 3]> {
        plateau(frame, [0, 0, SIDE as i64, SIDE as i64]).map(|(level, _)| level)
    }

    #[test]
    fn a_cut_light_has_a_ceiling_and_a_whole_one_has_none() {
        for colour in [[1.0, 0.8, 0.6], [1.0, 1.0, 1.0], [0.5, 0.7, 1.0]] {
            assert_eq!(found(&picture(colour, |v| v)), None);
            assert_eq!(found(&picture(colour, |v| v.min(1.0))), Some([1.0; 3]));
        }
        assert_eq!(found(&picture([1.0, 0.8, 0.6], |v| v.min(2.75))), Some([2.75; 3]));
        // One channel alone at display white.
        assert_eq!(found(&picture([1.0, 0.1, 0.05], |v| v.min(1.0))).map(|l| l[0]), Some(1.0));
    }

    #[test]
    fn an_even_emitter_is_no_ceiling() {
        let mut frame = picture([0.01; 3], |v| v);
        for (i, pixel) in frame.rgb.iter_mut().enumerate() {
            let (x, y) = place(i);
            let inside = 9.0 - x.hypot(y);
            let coverage = (inside + 0.5).clamp(0.0, 1.0);
            *pixel = [0, 1, 2].map(|c| pixel[c] * (1.0 - coverage) + [37.0, 30.5, 21.0][c] * coverage);
        }
        assert_eq!(found(&frame), None);
    }
}
