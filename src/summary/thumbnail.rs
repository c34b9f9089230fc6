//! The two spheres of a shot, cut out of its evidence picture.

use std::fs::File;
use std::io::{BufRead, BufReader, Seek};
use std::path::Path;

use png::{BitDepth, ColorType, Decoder, Limits, Reader};

use crate::image::marked_png::{SPHERES_KEYWORD, parse_sphere_places};
use crate::report::picture::Thumbnail;

/// Bytes that the decoder may take for one picture.
const DECODER_BYTES: usize = 16 << 20;

/// Both spheres of a shot: photographed, CG.
pub type SpherePair = [Thumbnail; 2];

/// Cuts the spheres out of the evidence picture at `path`, which says itself where they stand.
///
/// `None` where there is no such picture, or where it was made before pictures said so.
pub fn sphere_pair(path: &Path) -> Option<SpherePair> {
    if !path.metadata().ok()?.is_file() {
        return None;
    }
    let decoder = Decoder::new_with_limits(BufReader::new(File::open(path).ok()?), Limits { bytes: DECODER_BYTES });
    let mut reader = decoder.read_info().ok()?;
    let info = reader.info();
    let plain = info.color_type == ColorType::Rgb && info.bit_depth == BitDepth::Eight && !info.interlaced;
    let chunk = info.uncompressed_latin1_text.iter().find(|chunk| chunk.keyword == SPHERES_KEYWORD)?;
    let places = parse_sphere_places(&chunk.text)?;
    if !plain || places.iter().any(|[x, y, side]| x + side > info.width as usize || y + side > info.height as usize) {
        return None;
    }
    cut(&mut reader, places)
}

fn cut<R: BufRead + Seek>(reader: &mut Reader<R>, places: [[usize; 3]; 2]) -> Option<SpherePair> {
    let mut pair = places.map(|[_, _, side]| Thumbnail { side, rgb: Vec::with_capacity(side * side * 3) });
    let last = places.iter().map(|[_, y, side]| y + side).max()?;
    for row in 0..last {
        let line = reader.next_row().ok()??;
        for (thumbnail, [x, y, side]) in pair.iter_mut().zip(places) {
            if (y..y + side).contains(&row) {
                thumbnail.rgb.extend_from_slice(line.data().get(x * 3..(x + side) * 3)?);
            }
        }
    }
    Some(pair)
}
