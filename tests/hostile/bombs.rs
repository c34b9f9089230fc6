//! Files that claim or unfold to far more than they are.

use std::fs;
use std::path::Path;

use image::{DynamicImage, GrayImage, ImageFormat};

use super::program::{Ended, run, run_under};
use super::seeds;

/// Address space of a run, KiB: a bomb that went off would need more. Much of it is only reserved, for stacks.
const LIMIT: &str = "ulimit -v 1500000";

/// What bombs unfold to, bytes: far over the limit.
const UNFOLDED: usize = 16_384 * 131_072;

pub(super) fn seed(kind: &str, name: &str) -> Vec<u8> {
    let seeds = seeds::kinds().into_iter().find(|(k, _)| *k == kind).unwrap().1;
    seeds.into_iter().find(|(n, _)| *n == name).unwrap().1
}

/// Looks at one file within the limit on memory.
fn look(name: &str, bytes: &[u8], words: &[&str]) -> Ended {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(name), bytes).unwrap();
    let words: Vec<&str> = ["sphere", name].into_iter().chain(words.iter().copied()).collect();
    run_under(LIMIT, folder.path(), &words)
}

fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xedb8_8320 & (crc & 1).wrapping_neg()))
    })
}

pub(super) fn chunk(name: [u8; 4], data: &[u8]) -> Vec<u8> {
    let named = [name.as_slice(), data].concat();
    [(data.len() as u32).to_be_bytes().as_slice(), &named, &crc(&named).to_be_bytes()].concat()
}

fn png_of(width: u32, height: u32, before_pixels: &[u8]) -> Vec<u8> {
    let header = [width.to_be_bytes().as_slice(), &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    let signature = b"\x89PNG\r\n\x1a\n";
    let (pixels, end) = (chunk(*b"IDAT", &zlib_of_zeros(64)), chunk(*b"IEND", &[]));
    [signature.as_slice(), &chunk(*b"IHDR", &header), before_pixels, &pixels, &end].concat()
}

/// A zlib stream of that many zeros, by the stored blocks and one short pattern repeated that DEFLATE allows: a block of
/// fixed codes holding one literal and matches of 258 bytes at distance one (RFC 1951, section 3.2.6).
pub(super) fn zlib_of_zeros(count: usize) -> Vec<u8> {
    let mut bits = Bits::default();
    bits.push(0b011, 3); // last block, fixed codes
    bits.push_code(0b0011_0000, 8); // literal 0
    let (matches, rest) = ((count - 1) / 258, (count - 1) % 258);
    for _ in 0..matches {
        bits.push_code(0b1100_0101, 8); // length 258
        bits.push(0, 5); // distance 1
    }
    (0..rest).for_each(|_| bits.push_code(0b0011_0000, 8));
    bits.push_code(0, 7); // end of block
    let adler = (((count % 65_521) as u32) << 16) | 1;
    [&[0x78, 0x01], bits.bytes.as_slice(), &adler.to_be_bytes()].concat()
}

#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    used: u32,
}

impl Bits {
    fn push(&mut self, value: u32, count: u32) {
        for i in 0..count {
            if self.used.is_multiple_of(8) {
                self.bytes.push(0);
            }
            *self.bytes.last_mut().unwrap() |= (((value >> i) & 1) as u8) << (self.used % 8);
            self.used += 1;
        }
    }

    /// Codes go in with their highest bit first.
    fn push_code(&mut self, code: u32, count: u32) {
        self.push(code.reverse_bits() >> (32 - count), count);
    }
}

#[test]
fn giant_headers_are_refused_at_once() {
    let tga = [&[0, 0, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 24, 0], &[0x80; 64][..]].concat();
    let mut jpeg = seed("picture", "plain.jpg");
    let frame_header = jpeg.windows(2).position(|two| two == [0xff, 0xc0]).unwrap();
    jpeg[frame_header + 5..frame_header + 9].fill(0xff);
    for (name, bytes) in [
        ("vast.png", png_of(60_000, 60_000, &[])),
        ("vast.hdr", b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 60000 +X 60000\n\x02\x02\xea\x60".to_vec()),
        ("vast.tga", tga),
        ("vast.jpg", jpeg),
        ("vast.tif", tiff(60_000, 60_000, 1, &[0; 64])),
    ] {
        look(name, &bytes, &[]).refused().says("limit");
    }
}

/// A deflated TIFF of one grey strip.
pub(super) fn tiff(width: u32, height: u32, compression: u32, strip: &[u8]) -> Vec<u8> {
    let entries = [
        (256, width),
        (257, height),
        (258, 8),
        (259, compression),
        (262, 1),
        (273, 8 + 2 + 10 * 12 + 4),
        (277, 1),
        (278, height),
        (279, strip.len() as u32),
        (284, 1),
    ];
    let mut bytes = [b"II*\0".as_slice(), &8_u32.to_le_bytes(), &(entries.len() as u16).to_le_bytes()].concat();
    for (tag, value) in entries {
        bytes.extend([u16::to_le_bytes(tag), u16::to_le_bytes(4)].concat());
        bytes.extend([1, value].map(u32::to_le_bytes).concat());
    }
    [bytes.as_slice(), &[0; 4], strip].concat()
}

/// An 8 x 6 ZIP picture whose only block is replaced.
fn exr_with_block(block: &[u8]) -> Vec<u8> {
    let whole = seed("picture", "zip.exr");
    let start = (0..whole.len() - 8)
        .find(|at| u64::from_le_bytes(whole[*at..at + 8].try_into().unwrap()) == *at as u64 + 8)
        .expect("the one entry of the offset table points just behind itself");
    let length = (block.len() as u32).to_le_bytes();
    [&whole[..start + 12], &length, block].concat()
}

/// The writer of bombs is sound: what it writes is read back by the decoder under test, small.
#[test]
fn small_bombs_are_no_bombs() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in [
        ("small.tif", tiff(64, 64, 8, &zlib_of_zeros(64 * 64))),
        ("small.exr", exr_with_block(&zlib_of_zeros(8 * 6 * 4 * 2))),
    ] {
        fs::write(folder.path().join(name), bytes).unwrap();
        run(folder.path(), &["sphere", name]).refused().says("give its outline");
    }
}

#[test]
fn what_unfolds_beyond_its_picture_is_refused_within_memory() {
    let bomb = zlib_of_zeros(UNFOLDED);
    let profile = chunk(*b"iCCP", &[b"tide\0\0".as_slice(), &bomb].concat());
    let text = chunk(*b"zTXt", &[b"tide\0\0".as_slice(), &bomb].concat());
    let pixels = png_of(8, 6, &[]);
    let at = pixels.windows(4).position(|four| four == b"IDAT").unwrap() - 4;
    let pixels = [&pixels[..at], &chunk(*b"IDAT", &bomb), &chunk(*b"IEND", &[])].concat();
    for (name, bytes) in [
        ("profile.png", png_of(8, 6, &profile)),
        ("text.png", png_of(8, 6, &text)),
        ("pixels.png", pixels),
        ("block.exr", exr_with_block(&bomb)),
        ("strip.tif", tiff(8, 6, 8, &bomb)),
    ] {
        look(name, &bytes, &[]).refused();
    }
}

#[test]
fn transforms_that_unfold_or_nest_are_refused() {
    let picture = picture();
    let entity = |i: usize| format!("<!ENTITY e{i} \"{}\">", format!("&e{};", i - 1).repeat(10));
    let entities = (1..12).map(entity).collect::<Vec<_>>().concat();
    let swelling = format!("<!DOCTYPE l [<!ENTITY e0 \"tide\">{entities}]><ProcessList>&e11;</ProcessList>");
    let deep = "<a>".repeat(100_000) + &"</a>".repeat(100_000);
    let list = |inside: &str| format!("<ProcessList id=\"a\" compCLFversion=\"3.0\">{inside}</ProcessList>");
    let table = |dim: &str| {
        list(&format!("<LUT1D inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"{dim}\">0 1</Array></LUT1D>"))
    };
    let texts = [swelling, list(&deep), table("4000000000 3"), table("18446744073709551615 3")];
    for text in texts {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("show.clf"), text).unwrap();
        fs::write(folder.path().join("f.png"), &picture).unwrap();
        let words = ["sphere", "f.png", "--encoding", "show.clf"];
        run_under(LIMIT, folder.path(), &words).refused().says("Common LUT Format");
    }
}

fn picture() -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    DynamicImage::ImageLuma8(GrayImage::new(64, 64)).write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

#[test]
fn limits_are_set_by_options() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("f.png"), picture()).unwrap();
    run(folder.path(), &["sphere", "f.png"]).refused().says("give its outline");
    for (option, value, said) in [
        ("--max-pixels", "4095", "the limits are 4095 pixels"),
        ("--max-decoded", "1KiB", "and 1024 bytes"),
        ("--max-file", "10B", "more than the limit of 10"),
    ] {
        run(folder.path(), &["sphere", "f.png", option, value]).refused().says(said).says(option);
        let words = ["check", "--mirror", "f.png", "--cg", "f.png", "--format", "json", option, value];
        run(folder.path(), &words).refused().says(said).says(option);
        let corners = "1,1,9,1,9,9";
        let words = ["reflectance", "f.png", "--seen-directly", corners, "--seen-in-sphere", corners, option, value];
        run(folder.path(), &words).refused().says(said);
        run(folder.path(), &["new-shot", "f.png", "--overwrite", option, value]).refused().says(said);
    }
    run(folder.path(), &["sphere", "f.png", "--max-pixels", "4096"]).refused().says("give its outline");
}

#[test]
fn pipes_and_devices_are_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    assert!(std::process::Command::new("mkfifo").arg(here.join("pipe")).status().unwrap().success());
    fs::write(here.join("f.png"), picture()).unwrap();
    run(here, &["sphere", "pipe"]).refused().says("pipe");
    run(here, &["sphere", "f.png", "--encoding", "mirror.clf"]).refused();
    fs::rename(here.join("pipe"), here.join("pipe.clf")).unwrap();
    run(here, &["sphere", "f.png", "--encoding", "pipe.clf"]).refused().says("pipe");
    run(here, &["check", "pipe.clf"]).refused();
    run(here, &["summary", "pipe.clf"]).refused();
    run(here, &["check", "--mirror", "pipe.clf", "--cg", "f.png"]).refused();
    if Path::new("/dev/zero").exists() {
        run(here, &["sphere", "/dev/zero"]).refused();
        run(here, &["check", "/dev/zero"]).refused();
    }
}
