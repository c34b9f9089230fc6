//! What a movie shows.

/// What a movie shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Take {
    /// Its frames.
    pub(super) frames: u32,
    /// Frames from one that was looked at to the next.
    pub(super) every: u32,
    /// First and last frame looked at of every stretch in which a sphere is seen.
    pub(super) seen: Vec<[u32; 2]>,
    /// The frame that the rest of the look is of: in the middle of the longest stretch; without one the first.
    pub(super) number: u32,
    /// A frame in which no sphere is seen.
    pub(super) without: Option<u32>,
    /// Its stream does not say which curve it was recorded with.
    pub(super) curve_unknown: bool,
}

impl Take {
    /// What was seen, for people.
    pub(super) fn words(&self) -> String {
        let every =
            if self.every > 1 { format!(" (every {} frames were looked at)", self.every) } else { String::new() };
        if self.seen.is_empty() {
            return format!("no mirror sphere is found in its {} frames{every}", self.frames);
        }
        let stretches = self
            .seen
            .iter()
            .map(|[first, last]| if first == last { first.to_string() } else { format!("{first} to {last}") });
        let stretches = stretches.collect::<Vec<_>>().join(", ");
        format!("a mirror sphere is seen in frames {stretches} of {}{every}", self.frames)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_told_for_people() {
        let take = Take {
            frames: 120,
            every: 5,
            seen: vec![[6, 16], [26, 26]],
            number: 11,
            without: Some(1),
            curve_unknown: false,
        };
        assert_eq!(
            take.words(),
            "a mirror sphere is seen in frames 6 to 16, 26 of 120 (every 5 frames were looked at)"
        );
    }
}
