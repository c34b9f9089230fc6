//! Which frame of a movie, and which of its fields.

use std::path::Path;

use super::decode::Raw;
use super::facts::Shown;
use super::known::Movie;
use super::timecode::Timecode;
use super::{Field, MovieRequest};
use crate::{Error, ErrorKind, Result};

/// The place among the frames of the one asked for.
///
/// # Errors
/// `Parameter` where none is asked for, or one that is not there.
pub(super) fn place(asked: &MovieRequest<'_>, movie: &Movie, frames: &[Shown]) -> Result<usize> {
    let wrong = |cause: String, remedy: String| Err(Error::new(ErrorKind::Parameter, &movie.path, cause, remedy));
    let labels = labels(movie, frames);
    let reach = || match &labels {
        Some([first, last]) => format!("it has frames 1 to {}, timecode {first} to {last}", frames.len()),
        None => format!("it has frames 1 to {}", frames.len()),
    };
    match (asked.frame_number, asked.timecode) {
        (Some(_), Some(_)) => {
            wrong("both `frame_number` and `timecode` are given".to_owned(), "keep one of the two".to_owned())
        }
        (None, None) => wrong(
            "it is a movie, and it is not said which frame".to_owned(),
            format!("add `frame_number` or `timecode` beside `frame`: {}", reach()),
        ),
        (Some(number), None) => match (number as usize).checked_sub(1).filter(|place| *place < frames.len()) {
            Some(place) => Ok(place),
            None => wrong(format!("there is no frame {number} in this movie"), reach()),
        },
        (None, Some(text)) => match labels {
            None => wrong(no_labels(movie, frames).to_owned(), format!("give `frame_number`: {}", reach())),
            Some([first, _]) => {
                let rate = Timecode::labels_a_second(movie.stream.rate);
                let count = |label: Timecode| label.frames(rate);
                let asked = Timecode::parse(text).map(|label| label.counted_as(first));
                let place = asked.and_then(count).zip(count(first)).map(|(asked, first)| asked - first);
                match place.and_then(|place| usize::try_from(place).ok()).filter(|place| *place < frames.len()) {
                    Some(place) => Ok(place),
                    None => {
                        wrong(format!("there is no frame at {} in this movie", crate::printable_text(text)), reach())
                    }
                }
            }
        },
    }
}

/// First and last label; `None` where the movie has none, or frames of uneven length.
fn labels(movie: &Movie, frames: &[Shown]) -> Option<[Timecode; 2]> {
    Some([label(movie, frames, 0)?, label(movie, frames, frames.len() - 1)?])
}

/// The label of a frame.
pub(super) fn label(movie: &Movie, frames: &[Shown], place: usize) -> Option<Timecode> {
    let first = Timecode::parse(movie.stream.timecode.as_deref()?)?;
    if movie.stream.rate <= 0.0 || !is_even(movie, frames) {
        return None;
    }
    let rate = Timecode::labels_a_second(movie.stream.rate);
    Some(Timecode::at(first.frames(rate)? + place as i64, rate, first.is_drop_frame()))
}

/// All frames are shown for as long, within half of it.
fn is_even(movie: &Movie, frames: &[Shown]) -> bool {
    let length_s = 1.0 / movie.stream.rate;
    frames.windows(2).all(|pair| (movie.seconds(pair[1].at - pair[0].at) - length_s).abs() < 0.5 * length_s)
}

fn no_labels(movie: &Movie, frames: &[Shown]) -> &'static str {
    match movie.stream.timecode {
        Some(_) if !is_even(movie, frames) => "its frames are of uneven length, so that no timecode tells them apart",
        Some(_) => "its timecode cannot be read",
        None => "it has no timecode",
    }
}

/// What is taken of the frame; `None` for a whole one about which nothing had to be decided.
///
/// # Errors
/// `Unsupported` for an interlaced frame of which nothing is said.
pub(super) fn field(
    asked: &MovieRequest<'_>,
    raw: &Raw,
    path: &Path,
    warnings: &mut Vec<String>,
) -> Result<Option<Field>> {
    match asked.field {
        None if raw.interlaced => {
            let cause = "its frames are interlaced: they hold two fields of different moments";
            let remedy = "give `\"field\": \"upper\"` or `\"lower\"` to use one field, `\"whole\"` if the camera took both at \
                          one moment (progressive segmented frames), or shoot progressive";
            Err(Error::new(ErrorKind::Unsupported, path, cause, remedy))
        }
        Some(Field::Whole) if raw.interlaced => {
            warnings.push("the stream calls its frames interlaced; both fields are taken as of one moment".to_owned());
            Ok(asked.field)
        }
        Some(field @ (Field::Upper | Field::Lower)) => {
            warnings.push(
                "one field was taken: every second row of the picture is interpolated, so outlines are less exact"
                    .to_owned(),
            );
            Ok(Some(field))
        }
        other => Ok(other),
    }
}
