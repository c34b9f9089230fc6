//! Where the exposures of a bracket are cut off, looked for in each before they are merged.
//!
//! Merged first, a cut-off exposure passes for what was there and the shorter ones for movement. Exposures of one camera end at
//! one level, and a shorter one shows what a longer one lost: both tell more than any picture alone.

use super::BracketFrame;
use crate::base::parallel;
use crate::image::{Ceiling, Frame, ceiling};

/// A shorter exposure shows this much more than the level, stops, where the longer one is cut off and no panel stands there.
const SHOWS_MORE_STOPS: f64 = 0.25;

/// A frame that goes beyond another's level by this factor does not share it: sharpening overshoots by less.
const BEYOND: f32 = 1.5;

/// What one exposure was found to be cut off at.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundCeiling {
    /// Number of the frame.
    pub frame: usize,
    /// Level per channel, infinite where none was found.
    pub level: [f32; 3],
    /// Pixels that stand there.
    pub pixels: usize,
}

/// Gives every linear exposure that states no ceiling the one that the pictures show, before their stops are settled and
/// they are brought into register (which mixes pixels). Frames keep what they state.
pub fn settle(frames: &mut [BracketFrame]) -> Vec<FoundCeiling> {
    if frames.len() < 2 || frames.iter().any(|f| f.frame.is_display_picture()) {
        return Vec::new();
    }
    let suspected: Vec<Option<Ceiling>> = parallel::map_each(frames, |f| ceiling_of(&f.frame));
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| frames[*a].stops.0.total_cmp(&frames[*b].stops.0));
    let mut found: Vec<FoundCeiling> = Vec::new();
    for (place, index) in order.iter().copied().enumerate() {
        let Some(ceiling) = suspected[index] else { continue };
        let shorter = place.checked_sub(1).map(|p| &frames[order[p]]);
        if ceiling.certain || shorter.is_some_and(|s| shows_more(s, &frames[index], &ceiling.level)) {
            found.push(FoundCeiling { frame: index, level: ceiling.level, pixels: ceiling.pixels });
        }
    }
    let shared = shared(&found);
    for (index, BracketFrame { frame, .. }) in frames.iter_mut().enumerate() {
        let own = found.iter().find(|f| f.frame == index).map_or([f32::INFINITY; 3], |f| f.level);
        if frame.clip_level.is_some() {
            continue;
        }
        let level = own_or_shared(frame, own, shared);
        frame.clip_level = level.iter().any(|l| l.is_finite()).then_some(level);
    }
    found
}

fn ceiling_of(frame: &Frame) -> Option<Ceiling> {
    if frame.clip_level.is_some() { None } else { ceiling(frame, |_, _| true) }
}

/// Most of what stands at the level was brighter by what the shorter exposure shows.
fn shows_more(shorter: &BracketFrame, longer: &BracketFrame, level: &[f32; 3]) -> bool {
    if shorter.frame.data != longer.frame.data || shorter.frame.rgb.len() != longer.frame.rgb.len() {
        return false;
    }
    let factor = ((longer.stops - shorter.stops).0 - SHOWS_MORE_STOPS).exp2();
    let (mut there, mut more) = (0_usize, 0_usize);
    for (a, b) in shorter.frame.rgb.iter().zip(&longer.frame.rgb) {
        if let Some(c) = (0..3).find(|c| level[*c].is_finite() && b[*c] >= level[*c]) {
            there += 1;
            more += usize::from(f64::from(a[c]) * factor > f64::from(level[c]));
        }
    }
    2 * more > there
}

/// The level of each channel that most pixels stand at.
fn shared(found: &[FoundCeiling]) -> [f32; 3] {
    [0, 1, 2].map(|c| {
        let of_channel = found.iter().filter(|f| f.level[c].is_finite());
        of_channel.max_by_key(|f| f.pixels).map_or(f32::INFINITY, |f| f.level[c])
    })
}

/// A frame's own level; where it shows none, that of the others, which it never exceeds by much.
fn own_or_shared(frame: &Frame, own: [f32; 3], shared: [f32; 3]) -> [f32; 3] {
    if (0..3).all(|c| own[c].is_finite() || !shared[c].is_finite()) {
        return own;
    }
    let mut highest = [0.0_f32; 3];
    for rgb in &frame.rgb {
        for c in 0..3 {
            highest[c] = highest[c].max(rgb[c]);
        }
    }
    [0, 1, 2].map(|c| match own[c].is_finite() {
        true => own[c],
        false if highest[c] <= BEYOND * shared[c] => shared[c],
        false => f32::INFINITY,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Stops;
    use crate::image::Size;
    use crate::register::bracket::merge;

    const SIDE: usize = 64;

    /// A lamp of 400 on a grey ground with noise, as three exposures that all end at `level`.
    fn bracket(level: f32) -> Vec<BracketFrame> {
        let light = |i: usize| {
            let (x, y) = ((i % SIDE) as f32 - 31.4, (i / SIDE) as f32 - 30.9);
            0.2 + 400.0 * (-(x * x + y * y) / 60.0).exp()
        };
        let exposure = |stops: f64| {
            let pixels = (0..SIDE * SIDE).map(|i| {
                let noise = 1.0 + 0.02 * (((i * 7919 + stops.abs() as usize * 131) % 1000) as f32 / 500.0 - 1.0);
                [(light(i) * noise * stops.exp2() as f32).min(level); 3]
            });
            let frame = Frame::computed("exposure", Size { width: SIDE, height: SIDE }, pixels.collect());
            BracketFrame { frame, stops: Stops(stops) }
        };
        vec![exposure(0.0), exposure(-4.0), exposure(-8.0)]
    }

    #[test]
    fn what_a_long_exposure_lost_comes_from_the_short_ones() {
        let mut frames = bracket(3.0);
        let found = settle(&mut frames);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(frames.iter().all(|f| f.frame.clip_level.is_some_and(|l| (l[0] - 3.0).abs() < 0.01)));
        let merged = merge(frames).unwrap();
        let peak = merged.rgb.iter().map(|p| p[1]).fold(0.0, f32::max);
        assert!((peak / 400.0 - 1.0).abs() < 0.05, "{peak}");
        assert!(merged.warnings.is_empty(), "{:?}", merged.warnings);
    }

    #[test]
    fn a_bracket_that_is_nowhere_cut_off_gets_no_ceiling() {
        let mut frames = bracket(1e6);
        assert_eq!(settle(&mut frames), Vec::new());
        assert!(frames.iter().all(|f| f.frame.clip_level.is_none()));
    }
}
