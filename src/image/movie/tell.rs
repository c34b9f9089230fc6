//! The report's entry for a frame.

use super::belief::Beliefs;
use super::facts::Shown;
use super::known::Movie;
use super::layout::Layout;
use super::{Field, MovieRecord, pick};

/// The entry for the frame at `place`.
pub(super) fn record(
    movie: &Movie,
    frames: &[Shown],
    place: usize,
    beliefs: &Beliefs,
    field: Option<Field>,
) -> MovieRecord {
    let stream = &movie.stream;
    let stated = |text: &str| if text.is_empty() { "unspecified" } else { text }.to_owned();
    let subsampled = Layout::parse(&stream.pixel_format).is_some_and(|l| l.subsampling != [0, 0]);
    MovieRecord {
        frame_number: place as u32 + 1,
        frames: frames.len() as u32,
        timecode: pick::label(movie, frames, place).map(|label| label.to_string()),
        time_s: movie.seconds(frames[place].at),
        codec: stream.codec.clone(),
        pixel_format: stream.pixel_format.clone(),
        code_range: beliefs.range.value.word().to_owned(),
        code_range_from: beliefs.range.from.to_owned(),
        matrix: beliefs.matrix.as_ref().map(|matrix| matrix.value.word().to_owned()),
        matrix_from: beliefs.matrix.as_ref().map(|matrix| matrix.from.to_owned()),
        chroma_siting: subsampled.then(|| beliefs.siting_name.to_owned()),
        chroma_siting_from: subsampled.then(|| beliefs.siting.from.to_owned()),
        primaries: stated(&stream.primaries),
        transfer: stated(&stream.transfer),
        matrix_coefficients: stated(&stream.matrix),
        field,
    }
}
