//! OpenEXR files that are handed on in strips of rows.

use std::path::{Path, PathBuf};

use exr::prelude::*;
use half::f16;
use plateproof::ErrorKind;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open, open_rows};
use plateproof::image::{Frame, RowSink};

const WIDTH: usize = 3000;
const HEIGHT: usize = 3200;

/// Noise that no two rows share.
fn write(folder: &Path, blocks: Blocks) -> PathBuf {
    let value = |i: usize| f16::from_f32(((i.wrapping_mul(2_654_435_761) >> 9) & 1023) as f32 / 64.0);
    let plane = |seed: usize| FlatSamples::F16((0..WIDTH * HEIGHT).map(|i| value(i + seed * 77)).collect());
    let channels = [("B", 0), ("G", 1), ("R", 2)].map(|(name, seed)| AnyChannel::new(name, plane(seed)));
    let encoding = Encoding { compression: Compression::ZIP16, blocks, line_order: LineOrder::Increasing };
    let channels = AnyChannels::sort(channels.into_iter().collect());
    let layer = Layer::new((WIDTH, HEIGHT), LayerAttributes::default(), encoding, channels);
    let path = folder.join("written.exr");
    Image::new(ImageAttributes::with_size((WIDTH, HEIGHT)), layer).write().to_file(&path).unwrap();
    path
}

fn request<'a>(path: &'a Path, limits: &'a Limits) -> OpenRequest<'a> {
    OpenRequest { shown_as: "env.exr", ..OpenRequest::of(path, "environment", limits) }
}

/// Puts the strips together again.
#[derive(Default)]
struct Together {
    rgb: Vec<[f32; 3]>,
    strips: usize,
}

impl RowSink for Together {
    fn begin(&mut self, header: &Frame) {
        assert!(header.rgb.is_empty() && (header.data.width, header.data.height) == (WIDTH, HEIGHT));
    }

    fn rows(&mut self, strip: &Frame, first_row: usize) {
        assert_eq!(self.rgb.len(), first_row * WIDTH, "in order and without gaps");
        assert_eq!(strip.data.y, first_row as i64);
        self.rgb.extend(&strip.rgb);
        self.strips += 1;
    }
}

#[test]
fn strips_together_are_the_picture_to_the_bit() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits::default();
    for blocks in [Blocks::ScanLines, Blocks::Tiles(Vec2(512, 512))] {
        let path = write(folder.path(), blocks);
        let whole = open(&request(&path, &limits)).unwrap();
        let mut together = Together::default();
        let header = open_rows(&request(&path, &limits), &mut together).unwrap();
        assert!(together.strips > 2, "{} strips", together.strips);
        assert!(together.rgb == whole.rgb, "{blocks:?}");
        assert_eq!(header.record, whole.record);
        assert_eq!(header.warnings, whole.warnings);
    }
}

#[test]
fn a_picture_larger_than_memory_may_be_is_handed_on_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(folder.path(), Blocks::ScanLines);
    // All of it takes 115 MB.
    let limits = Limits { max_bytes: 80 << 20, ..Limits::default() };
    assert_eq!(open(&request(&path, &limits)).unwrap_err().kind, ErrorKind::Limit);
    let mut together = Together::default();
    open_rows(&request(&path, &limits), &mut together).unwrap();
    assert_eq!(together.rgb.len(), WIDTH * HEIGHT);
}

#[test]
fn a_damaged_strip_is_the_pictures_error() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(folder.path(), Blocks::ScanLines);
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 4096].fill(0);
    std::fs::write(&path, bytes).unwrap();
    let limits = Limits::default();
    let told = open_rows(&request(&path, &limits), &mut Together::default()).unwrap_err();
    assert_eq!(told.to_string(), open(&request(&path, &limits)).unwrap_err().to_string());
}
