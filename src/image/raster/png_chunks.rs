//! Colour statements of a PNG file outside an ICC profile: `cICP`, `sRGB`, `gAMA`, `cHRM`.
//!
//! Source: Portable Network Graphics (PNG) Specification, third edition (W3C 2025), section 11.3.2; code points of
//! `cICP`: ITU-T H.273.

use super::super::encoding::Encoding;
use super::super::request::{Belief, named_space};
use super::Stated;
use crate::colour::ColourSpace;

/// Bytes of the PNG signature.
const SIGNATURE_BYTES: usize = 8;

/// A `gAMA` value (× 100000) of linear samples.
const GAMMA_LINEAR: u32 = 100_000;

/// `gAMA` of 1/2.2, which writers of sRGB pictures put for readers that know no `sRGB` chunk.
const GAMMA_SRGB_LIKE: u32 = 45_455;

/// How far a `gAMA` value may be from one of these.
const GAMMA_SLACK: u32 = 200;

/// What the chunks before the picture say. By the specification `cICP` outranks `sRGB`, and that `gAMA` and `cHRM`.
pub(super) fn stated(png: &[u8]) -> Stated {
    let chunks = Chunks { rest: png.get(SIGNATURE_BYTES..).unwrap_or_default() };
    let mut found = Stated::default();
    let mut outranked = Stated::default();
    for (kind, data) in chunks.take_while(|(kind, _)| kind != b"IDAT") {
        match &kind {
            b"cICP" => code_points(data, &mut found),
            b"sRGB" => {
                outranked.encoding = Some(Belief { value: Encoding::Srgb, from: "file" });
                outranked.space = Some(Belief { value: ColourSpace::rec709(), from: "file" });
            }
            b"gAMA" if outranked.encoding.is_none() => gamma(data, &mut outranked),
            b"cHRM" if outranked.space.is_none() => outranked.space = chromaticities(data),
            _ => {}
        }
    }
    found.or(outranked)
}

/// The chunks of a PNG file: kind and data. Ends at the first that does not fit.
struct Chunks<'a> {
    rest: &'a [u8],
}

impl<'a> Iterator for Chunks<'a> {
    type Item = ([u8; 4], &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let length = be_u32(self.rest, 0)? as usize;
        let kind = [*self.rest.get(4)?, *self.rest.get(5)?, *self.rest.get(6)?, *self.rest.get(7)?];
        let data = self.rest.get(8..length.checked_add(8)?)?;
        self.rest = self.rest.get(length.checked_add(12)?..)?;
        Some((kind, data))
    }
}

/// Coding-independent code points: primaries, transfer, matrix, full range.
fn code_points(data: &[u8], found: &mut Stated) {
    let [primaries, transfer, ..] = data else { return };
    let space = match primaries {
        1 => Some("rec709"),
        9 => Some("rec2020"),
        12 => Some("p3-d65"),
        _ => None,
    };
    let encoding = match transfer {
        1 | 6 | 14 | 15 => ["bt709", "bt.709", "rec709"].iter().find_map(|name| Encoding::parse(name)),
        8 => Some(Encoding::SceneLinear),
        13 => Some(Encoding::Srgb),
        16 => Encoding::parse("pq"),
        18 => Encoding::parse("hlg"),
        _ => None,
    };
    found.space = space.and_then(ColourSpace::parse).map(|value| Belief { value, from: "file" });
    found.encoding = encoding.map(|value| Belief { value, from: "file" });
    if found.space.is_none() || found.encoding.is_none() {
        found.warnings.push(format!(
            "its cICP chunk names primaries {primaries} and transfer {transfer}, of which one is not known here"
        ));
    }
}

fn gamma(data: &[u8], found: &mut Stated) {
    let Some(gamma) = be_u32(data, 0) else { return };
    let value = if gamma.abs_diff(GAMMA_LINEAR) <= GAMMA_SLACK {
        Encoding::SceneLinear
    } else if gamma.abs_diff(GAMMA_SRGB_LIKE) <= GAMMA_SLACK {
        Encoding::Srgb
    } else {
        found
            .warnings
            .push(format!("its gAMA chunk states an exponent of {:.3}, which is not used", f64::from(gamma) / 1e5));
        return;
    };
    found.encoding = Some(Belief { value, from: "file" });
}

/// White, red, green and blue, each x and y × 100000.
fn chromaticities(data: &[u8]) -> Option<Belief<ColourSpace>> {
    let point = |index: usize| {
        let (x, y) = (be_u32(data, 8 * index)?, be_u32(data, 8 * index + 4)?);
        Some([f64::from(x) / 1e5, f64::from(y) / 1e5])
    };
    let space = ColourSpace::from_chromaticities(point(1)?, point(2)?, point(3)?, point(0)?)?;
    Some(Belief { value: named_space(space), from: "chromaticities" })
}

fn be_u32(data: &[u8], start: usize) -> Option<u32> {
    let four = data.get(start..start.checked_add(4)?)?;
    Some(u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn png(chunks: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        for (kind, data) in chunks {
            bytes.extend((data.len() as u32).to_be_bytes());
            bytes.extend(*kind);
            bytes.extend(data);
            bytes.extend([0; 4]);
        }
        bytes
    }

    #[test]
    fn linear_gamma_is_linear_and_srgb_outranks_gamma() {
        let linear = stated(&png(&[(b"gAMA", 100_000_u32.to_be_bytes().to_vec())]));
        assert_eq!(linear.encoding.unwrap().value, Encoding::SceneLinear);
        let both = stated(&png(&[(b"gAMA", 100_000_u32.to_be_bytes().to_vec()), (b"sRGB", vec![0])]));
        assert_eq!(both.encoding.unwrap().value, Encoding::Srgb);
    }

    #[test]
    fn primaries_of_bt_709_get_their_name() {
        let values = [31_270_u32, 32_900, 64_000, 33_000, 30_000, 60_000, 15_000, 6_000];
        let data = values.iter().flat_map(|v| v.to_be_bytes()).collect();
        let space = stated(&png(&[(b"cHRM", data)])).space.unwrap();
        assert_eq!((space.value.name.as_str(), space.from), ("rec709", "chromaticities"));
    }

    #[test]
    fn chunks_after_the_picture_and_cut_files_are_ignored() {
        let late = png(&[(b"IDAT", vec![]), (b"sRGB", vec![0])]);
        assert!(stated(&late).encoding.is_none());
        let whole = png(&[(b"sRGB", vec![0])]);
        assert!(stated(&whole[..whole.len() - 5]).encoding.is_none());
        assert!(stated(b"").encoding.is_none());
    }
}
