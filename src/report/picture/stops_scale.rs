//! The colours of a difference in stops: blue where the CG is darker, white where equal, orange where brighter.
//!
//! One continuous ramp without steps. Blue and orange stay apart under the common colour-vision deficiencies, and
//! both ends are darker than the middle, so that a difference also shows in a photocopy.

/// Differences beyond this are shown as the end colour.
pub(super) const SCALE_END_STOPS: f32 = 2.0;

/// Size of a difference in stops and its colours on the dark and on the bright side.
const ANCHORS: [(f32, [f32; 3], [f32; 3]); 5] = [
    (0.0, [255.0, 255.0, 255.0], [255.0, 255.0, 255.0]),
    (0.25, [214.0, 231.0, 246.0], [254.0, 231.0, 205.0]),
    (0.5, [170.0, 207.0, 234.0], [253.0, 205.0, 155.0]),
    (1.0, [88.0, 152.0, 204.0], [240.0, 146.0, 55.0]),
    (SCALE_END_STOPS, [16.0, 68.0, 130.0], [152.0, 66.0, 0.0]),
];

/// The colour of a difference in stops; NaN has none.
pub(super) fn stops_colour(stops: f32) -> Option<[u8; 3]> {
    if stops.is_nan() {
        return None;
    }
    let size = stops.abs().min(SCALE_END_STOPS);
    let side = |anchor: &(f32, [f32; 3], [f32; 3])| if stops < 0.0 { anchor.1 } else { anchor.2 };
    let pair = ANCHORS.windows(2).find(|pair| size <= pair[1].0)?;
    let along = (size - pair[0].0) / (pair[1].0 - pair[0].0);
    let (from, to) = (side(&pair[0]), side(&pair[1]));
    Some(std::array::from_fn(|c| (from[c] + (to[c] - from[c]) * along).round() as u8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_is_white_and_the_sides_are_blue_and_orange() {
        assert_eq!(stops_colour(0.0), Some([255; 3]));
        assert_eq!(stops_colour(-0.0), Some([255; 3]));
        let [r, _, b] = stops_colour(-1.0).unwrap();
        assert!(b > r);
        let [r, _, b] = stops_colour(1.0).unwrap();
        assert!(r > b);
    }

    #[test]
    fn the_ramp_is_continuous_and_darkens_outward() {
        let luma = |stops: f32| {
            let [r, g, b] = stops_colour(stops).unwrap().map(f32::from);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        for side in [-1.0, 1.0] {
            for step in 0..200 {
                let (here, next) = (luma(side * step as f32 * 0.01), luma(side * (step + 1) as f32 * 0.01));
                assert!(next <= here + 0.5 && here - next < 3.0, "{side} {step}: {here} {next}");
            }
        }
    }

    #[test]
    fn beyond_the_scale_is_the_end_and_unknown_is_nothing() {
        assert_eq!(stops_colour(f32::INFINITY), stops_colour(2.0));
        assert_eq!(stops_colour(-40.0), stops_colour(-2.0));
        assert_eq!(stops_colour(f32::NAN), None);
    }
}
