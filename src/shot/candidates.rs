//! What may be the sphere where none was found: the round things that the picture shows, as options to paste and as a
//! picture with the same numbers.

use std::f64::consts::TAU;

use crate::base::parallel;
use crate::findings::Attachment;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::report::picture::{LinearPicture, render_candidates};
use crate::report::write::CANDIDATES_ENDING;
use crate::sheet::{MirrorSpec, ShotSheet};
use crate::sphere::Outline;
use crate::sphere::find::round_outlines;
use crate::{Error, ErrorKind};

/// More are no help.
const MOST_LISTED: usize = 6;

/// The picture is at most this wide and high, px.
const LONGEST_SIDE_PX: usize = 1600;

/// Corners of a drawn outline.
const CORNERS: usize = 180;

/// What a refusal may add to a shot.
pub(super) struct Help<'a> {
    /// Draw the picture too.
    pub(super) picture: bool,
    pub(super) attachments: &'a mut Vec<Attachment>,
}

impl Help<'_> {
    /// The error with the round things of the frame that it is about.
    pub(super) fn with_candidates(&mut self, error: Error, sides: [Refused<'_>; 2]) -> Error {
        let Some(refused) = sides.into_iter().find(|side| side.frame.path == error.file) else { return error };
        let (error, drawn) = Refused { picture: self.picture, ..refused }.with_candidates(error);
        self.attachments.extend(drawn);
        error
    }
}

/// What an option names a mirror by: numbers alone are those of the only one.
pub(super) fn option_prefix(sheet: &ShotSheet, spec: &MirrorSpec) -> String {
    if sheet.mirrors.len() == 1 { String::new() } else { format!("{}=", spec.name) }
}

/// The frame in which no sphere was found.
pub(super) struct Refused<'a> {
    pub(super) frame: &'a Frame,
    pub(super) view: &'a View,
    /// What stands before the numbers in an option of `--near`, such as `cg=`.
    pub(super) role: &'a str,
    /// Draw the picture too.
    pub(super) picture: bool,
}

impl Refused<'_> {
    /// The same error with the round things listed, and their picture. Errors of another kind are handed back as they are.
    pub(super) fn with_candidates(&self, mut error: Error) -> (Error, Option<Attachment>) {
        if error.kind != ErrorKind::NoSphere {
            return (error, None);
        }
        let mut outlines: Vec<Outline> = Vec::new();
        for outline in round_outlines(self.frame, self.view).into_iter().map(|fit| fit.outline) {
            // Two fits of one rim are one choice.
            if !outlines.iter().any(|listed| option(self.role, listed) == option(self.role, &outline)) {
                outlines.push(outline);
            }
        }
        outlines.truncate(MOST_LISTED);
        if outlines.is_empty() {
            error.remedy.push_str("; no outline stands out that could be offered");
            return (error, None);
        }
        error.candidates = outlines.iter().map(|outline| option(self.role, outline)).collect();
        let drawn = self.picture.then(|| self.drawn(&outlines)).flatten();
        let numbered = if drawn.is_some() { format!(" (numbered in the .{CANDIDATES_ENDING})") } else { String::new() };
        error.remedy =
            format!("{}; if one of these round things is the sphere, add its option{numbered}", error.remedy);
        (error, drawn)
    }

    /// The picture is a help and nothing else: where it cannot be drawn, the options stand without it.
    fn drawn(&self, outlines: &[Outline]) -> Option<Attachment> {
        let shown = Shown::of(self.frame);
        let polygons: Vec<Vec<[f64; 2]>> = outlines.iter().map(|outline| shown.polygon(outline)).collect();
        let picture = shown.picture(self.frame);
        let heading = crate::printable_text(&self.frame.record.file);
        let bytes = render_candidates(&picture, &polygons, &heading, display_gain(&picture)).ok()?;
        Some(Attachment { ending: CANDIDATES_ENDING.to_owned(), bytes })
    }
}

fn option(role: &str, outline: &Outline) -> String {
    format!("--near {role}{:.0},{:.0},{:.0}", outline.centre_x, outline.centre_y, outline.mean_radius())
}

/// The frame in blocks of whole pixels, so that it is no larger than the picture may be.
struct Shown {
    block: usize,
}

impl Shown {
    fn of(frame: &Frame) -> Self {
        Self { block: frame.size.width.max(frame.size.height).div_ceil(LONGEST_SIDE_PX).max(1) }
    }

    fn polygon(&self, outline: &Outline) -> Vec<[f64; 2]> {
        let corner = |i: usize| outline.point(TAU * i as f64 / CORNERS as f64).map(|v| v / self.block as f64);
        (0..CORNERS).map(corner).collect()
    }

    fn picture(&self, frame: &Frame) -> LinearPicture {
        let (width, height) = (frame.size.width.div_ceil(self.block), frame.size.height.div_ceil(self.block));
        let rgb = parallel::map(width * height, |i| self.mean(frame, i % width, i / width));
        LinearPicture { width, height, rgb }
    }

    /// The mean of a block in the working space; NaN where nothing of it is known.
    fn mean(&self, frame: &Frame, column: usize, row: usize) -> [f32; 3] {
        let places = (0..self.block * self.block).map(|i| (i % self.block, i / self.block));
        let pixel =
            |(dx, dy): (usize, usize)| frame.pixel((column * self.block + dx) as i64, (row * self.block + dy) as i64);
        let known: Vec<[f32; 3]> = places.filter_map(pixel).collect();
        if known.is_empty() {
            return [f32::NAN; 3];
        }
        let mean = [0, 1, 2].map(|c| known.iter().map(|v| f64::from(v[c])).sum::<f64>() / known.len() as f64);
        (frame.space.to_working * nalgebra::Vector3::from(mean)).map(|v| v as f32).into()
    }
}

/// Gain that shows the median of the frame as mid grey, held back where that would burn out a tenth of it.
fn display_gain(picture: &LinearPicture) -> f64 {
    let mut green: Vec<f32> = picture.rgb.iter().map(|rgb| rgb[1]).filter(|v| *v > 0.0).collect();
    green.sort_by(f32::total_cmp);
    let at = |fraction: f64| green.get((green.len() as f64 * fraction) as usize).map(|v| f64::from(*v));
    match (at(0.5), at(0.9)) {
        (Some(median), Some(bright)) => (0.18 / median).min(1.0 / bright),
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;
    use crate::optics::camera::FovSource;

    /// Matt balls before a grey wall: round, and no mirrors.
    fn balls(size: Size, balls: &[[f64; 3]]) -> Frame {
        let pixel = |i: usize| {
            let at = [(i % size.width) as f64 + 0.5, (i / size.width) as f64 + 0.5];
            let on = balls.iter().any(|[x, y, radius]| (at[0] - x).hypot(at[1] - y) < *radius);
            if on { [0.7; 3] } else { [0.1; 3] }
        };
        Frame::computed("balls.exr", size, (0..size.width * size.height).map(pixel).collect())
    }

    fn refusal(frame: &Frame, kind: ErrorKind) -> (Error, Option<Attachment>) {
        let view = View::from_horizontal_fov(frame.size, 1.0, 40.0, FovSource::Option);
        let refused = Refused { frame, view: &view, role: "m1=", picture: true };
        refused.with_candidates(Error::new(kind, &frame.path, "no mirror", "say where"))
    }

    #[test]
    fn round_things_are_listed_and_drawn() {
        let frame = balls(Size { width: 400, height: 240 }, &[[110.0, 120.0, 50.0], [290.0, 130.0, 40.0]]);
        let (error, drawn) = refusal(&frame, ErrorKind::NoSphere);
        assert!(error.candidates.contains(&"--near m1=110,120,50".to_owned()), "{:?}", error.candidates);
        assert!(error.candidates.contains(&"--near m1=290,130,40".to_owned()), "{:?}", error.candidates);
        assert!(error.candidates.len() <= MOST_LISTED);
        assert!(error.remedy.contains("numbered in the .candidates.png"), "{}", error.remedy);
        assert_eq!(drawn.unwrap().ending, "candidates.png");
    }

    #[test]
    fn without_anything_round_that_is_said_and_nothing_drawn() {
        let (error, drawn) = refusal(&balls(Size { width: 200, height: 120 }, &[]), ErrorKind::NoSphere);
        assert!(error.candidates.is_empty() && drawn.is_none());
        assert!(error.remedy.contains("no outline stands out that could be offered"), "{}", error.remedy);
    }

    #[test]
    fn other_errors_stay_as_they_are() {
        let frame = balls(Size { width: 200, height: 120 }, &[[100.0, 60.0, 40.0]]);
        let (error, drawn) = refusal(&frame, ErrorKind::Malformed);
        assert_eq!((error.remedy.as_str(), error.candidates.len(), drawn), ("say where", 0, None));
    }

    #[test]
    fn a_large_frame_is_shown_within_the_limit() {
        let size = Size { width: 4001, height: 100 };
        let shown = Shown::of(&balls(size, &[]));
        let picture = shown.picture(&balls(size, &[]));
        assert!(picture.width <= LONGEST_SIDE_PX && picture.rgb.len() == picture.width * picture.height);
        assert!(picture.rgb.iter().all(|rgb| rgb[0].is_finite()), "the last block is cut, not empty");
    }
}
