//! A look at a file, into a movie at some of its frames: in which of them is a mirror sphere seen?

use std::path::Path;

use super::look::{Look, look_at, open_as};
use super::take::Take;
use crate::image::encoding::Encoding;
use crate::image::limits::Limits;
use crate::image::open::{Belief, frame_count};
use crate::image::{MoviePass, MovieRequest};
use crate::{ErrorKind, Result};

/// So many frames of a movie are looked at, evenly spread: a sphere is held up for seconds.
const LOOKED_AT: u32 = 24;

/// Opens and looks.
///
/// # Errors
/// Where the file, or a frame of it, cannot be read.
pub(super) fn look(path: &Path, limits: &Limits) -> Result<Look> {
    match frame_count(path, limits)? {
        Some(frames) => into_movie(path, frames, limits),
        None => Ok(look_at(open_as(path, MovieRequest::default(), None, limits)?)),
    }
}

/// Curves that a movie is looked at with whose stream names none: an ordinary picture, and a camera log. With the wrong one a sphere
/// may look too flat, or too hard, to be found.
const ASSUMED: [Encoding; 2] = [Encoding::Bt709, Encoding::SLog3];

fn into_movie(path: &Path, frames: u32, limits: &Limits) -> Result<Look> {
    let first = MovieRequest { frame_number: Some(1), ..MovieRequest::default() };
    let unsaid = |error: &crate::Error| error.kind == ErrorKind::Parameter;
    if !open_as(path, first, None, limits).as_ref().err().is_some_and(unsaid) {
        return with_curve(path, frames, None, limits);
    }
    let assumed = |value: Encoding| Some(Belief { value, from: "default" });
    let looks = ASSUMED.into_iter().map(|value| with_curve(path, frames, assumed(value), limits));
    let mut looks: Vec<Look> = looks.collect::<Result<_>>()?;
    let seen = |look: &Look| look.take.as_ref().map_or(0, |take| take.seen.iter().map(|[a, b]| b - a + 1).sum());
    let best = (0..looks.len()).rev().max_by_key(|i| seen(&looks[*i])).unwrap_or(0);
    Ok(looks.swap_remove(best))
}

/// Looks at frames of a movie in one pass.
fn with_curve(path: &Path, frames: u32, curve: Option<Belief<Encoding>>, limits: &Limits) -> Result<Look> {
    let every = frames.div_ceil(LOOKED_AT).max(1);
    let numbers: Vec<u32> = (1..=frames).step_by(every as usize).collect();
    let pass = MoviePass::new(path.to_path_buf(), &numbers);
    let mut looks = Vec::with_capacity(numbers.len());
    for number in &numbers {
        let frame = MovieRequest { frame_number: Some(*number), pass: Some(&pass), ..MovieRequest::default() };
        looks.push(look_at(open_as(path, frame, curve, limits)?));
    }
    let shows: Vec<bool> = looks.iter().map(|look| look.sphere.is_some()).collect();
    let seen = stretches(&shows);
    let longest = seen.iter().rev().max_by_key(|[first, last]| last - first);
    let chosen = longest.map_or(0, |[first, last]| usize::midpoint(*first, *last));
    let take = Take {
        frames,
        every,
        seen: seen.iter().map(|ends| ends.map(|i| numbers[i])).collect(),
        number: numbers[chosen],
        without: shows.iter().position(|shows| !shows).map(|i| numbers[i]),
        curve_unknown: curve.is_some(),
    };
    Ok(Look { take: Some(take), ..looks.swap_remove(chosen) })
}

/// First and last of every run of true.
fn stretches(shows: &[bool]) -> Vec<[usize; 2]> {
    let mut found: Vec<[usize; 2]> = Vec::new();
    for (i, _) in shows.iter().enumerate().filter(|(_, shows)| **shows) {
        match found.last_mut() {
            Some([_, last]) if *last + 1 == i => *last = i,
            _ => found.push([i, i]),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_are_one_stretch() {
        assert_eq!(stretches(&[false, true, true, true, false, true]), [[1, 3], [5, 5]]);
        assert!(stretches(&[false]).is_empty());
    }
}
