//! One pass over a take of which several frames are wanted one after the other: each group of pictures is decoded once, not once a frame.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use super::decode::{Decoder, Raw, Run, one};
use super::facts::Shown;
use super::known::Movie;
use super::layout::Layout;
use crate::Result;
use crate::image::limits::Limits;

/// A pass over one movie. Frames that are asked for in another order than planned are decoded by themselves.
pub struct MoviePass {
    path: PathBuf,
    /// Places among the frames, in order.
    planned: Vec<usize>,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    decoder: Option<Decoder>,
    /// The decoder cannot go on.
    given_up: bool,
    /// How many of the planned frames the decoder has given.
    given: usize,
    /// The last frame that was asked for: several inputs of a shot may show it.
    last: Option<(usize, Arc<Raw>)>,
}

impl std::fmt::Debug for MoviePass {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter
            .debug_struct("MoviePass")
            .field("path", &self.path)
            .field("frames", &self.planned.len())
            .finish_non_exhaustive()
    }
}

impl PartialEq for MoviePass {
    fn eq(&self, other: &Self) -> bool {
        self.path == other.path && self.planned == other.planned
    }
}

impl MoviePass {
    /// Plans a pass over the movie at `path`; `numbers` are its frames that will be asked for, counted from 1, in rising order.
    /// Nothing is opened before the first is.
    pub fn new(path: PathBuf, numbers: &[u32]) -> Self {
        let planned = numbers.iter().filter_map(|number| (*number as usize).checked_sub(1)).collect();
        Self { path, planned, state: Mutex::default() }
    }

    /// The movie that it goes over.
    pub fn path(&self) -> &std::path::Path {
        &self.path
    }

    pub(super) fn frame(
        &self,
        movie: &Movie,
        frames: &[Shown],
        place: usize,
        layout: &Layout,
        limits: &Limits,
    ) -> Result<Arc<Raw>> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, raw)) = state.last.as_ref().filter(|(last, _)| *last == place) {
            return Ok(Arc::clone(raw));
        }
        let raw = match self.planned_frame(&mut state, movie, frames, place, layout, limits) {
            Some(raw) => raw,
            None => one(movie, frames, place, layout, limits)?,
        };
        let raw = Arc::new(raw);
        state.last = Some((place, Arc::clone(&raw)));
        Ok(raw)
    }

    /// The frame from the pass; `None` where it is not ahead of it, or the pass cannot go on.
    fn planned_frame(
        &self,
        state: &mut State,
        movie: &Movie,
        frames: &[Shown],
        place: usize,
        layout: &Layout,
        limits: &Limits,
    ) -> Option<Raw> {
        let ahead = self.planned.get(state.given..)?.iter().position(|planned| *planned == place)?;
        if state.given_up || self.planned.iter().any(|place| *place >= frames.len()) {
            return None;
        }
        if state.decoder.is_none() {
            state.decoder = Decoder::start(movie, frames, self.run()?, layout, limits, true).ok();
        }
        let decoder = state.decoder.as_mut();
        let mut given = None;
        if let Some(decoder) = decoder {
            for planned in &self.planned[state.given..=state.given + ahead] {
                given = decoder.next(movie, frames, *planned).ok();
                if given.is_none() {
                    break;
                }
            }
        }
        state.given += ahead + 1;
        state.given_up = given.is_none();
        if state.given_up || state.given == self.planned.len() {
            state.decoder = None;
        }
        given
    }

    /// The planned frames as steps of one length, the last of which may be shorter; `None` where they are not.
    fn run(&self) -> Option<Run> {
        let (first, last) = (*self.planned.first()?, *self.planned.last()?);
        let step = self.planned.get(1).map_or(1, |second| second.saturating_sub(first));
        let stepped = (first..last).step_by(step.max(1)).chain([last]);
        stepped.eq(self.planned.iter().copied()).then_some(Run { first, last, step: step.max(1) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_one_length_with_a_shorter_last_one_are_a_run() {
        let run = |numbers: &[u32]| MoviePass::new("a.mov".into(), numbers).run().map(|r| (r.first, r.last, r.step));
        assert_eq!(run(&[5, 8, 11, 12]), Some((4, 11, 3)));
        assert_eq!(run(&[5, 8, 11]), Some((4, 10, 3)));
        assert_eq!(run(&[7]), Some((6, 6, 1)));
        assert_eq!(run(&[5, 8, 12, 13]), None, "uneven");
        assert_eq!(run(&[]), None);
    }
}
