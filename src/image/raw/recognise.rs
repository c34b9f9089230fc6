//! Which files are raw stills: by their first bytes, and TIFF-like ones by tag or name.

use std::path::Path;

/// Endings of raw stills.
pub(crate) const RAW_ENDINGS: [&str; 23] = [
    "dng", "cr2", "cr3", "nef", "nrw", "arw", "raf", "rw2", "orf", "pef", "srw", "3fr", "iiq", "x3f", "crw", "erf",
    "fff", "kdc", "dcr", "mef", "mos", "mrw", "rwl",
];

/// First bytes that no other picture has.
const MARKS: [&[u8]; 7] = [b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FOVb", b"\0MRM"];

/// Marks that stand further in: where, and which.
const LATER_MARKS: [(usize, &[u8]); 3] = [(4, b"ftypcrx "), (6, b"HEAPCCDR"), (8, b"CR\x02")];

/// TIFF tags: version of DNG; how samples are to be understood.
const DNG_VERSION: u16 = 50_706;
const PHOTOMETRIC: u16 = 262;

/// Values of `PHOTOMETRIC`: the mosaic of a sensor (TIFF/EP), and the same without mosaic (DNG).
const SENSOR_SAMPLES: [u32; 2] = [32_803, 34_892];

/// The file that begins with `first_bytes` is a raw still. `plain` says that it has the mark of no other kind but perhaps TIFF.
pub(in crate::image) fn is_raw_still(path: &Path, first_bytes: &[u8], plain: bool) -> bool {
    let marked = MARKS.iter().any(|mark| first_bytes.starts_with(mark));
    let marked =
        marked || LATER_MARKS.iter().any(|(at, mark)| first_bytes.get(*at..).is_some_and(|b| b.starts_with(mark)));
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    let named = RAW_ENDINGS.iter().any(|known| known.eq_ignore_ascii_case(ending));
    marked || (plain && (named || has_raw_tags(first_bytes) == Some(true)))
}

/// Whether the first directory of a TIFF file says so; `None` where it lies further on.
fn has_raw_tags(bytes: &[u8]) -> Option<bool> {
    let big_endian = match bytes.get(..4)? {
        b"II*\0" => false,
        b"MM\0*" => true,
        _ => return None,
    };
    let two = |at: usize| bytes.get(at..at + 2).and_then(|b| b.try_into().ok());
    let u16_at = |at| two(at).map(|b: [u8; 2]| if big_endian { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) });
    let four = |at: usize| bytes.get(at..at + 4).and_then(|b| b.try_into().ok());
    let u32_at = |at| four(at).map(|b: [u8; 4]| if big_endian { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) });
    let start = u32_at(4)? as usize;
    let entries = usize::from(u16_at(start)?);
    for entry in (0..entries).map(|i| start + 2 + 12 * i) {
        let tag = u16_at(entry)?;
        let value = u32::from(u16_at(entry + 8)?);
        if tag == DNG_VERSION || (tag == PHOTOMETRIC && SENSOR_SAMPLES.contains(&value)) {
            return Some(true);
        }
    }
    Some(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dng_is_known_whatever_it_is_called() {
        let mut dng = b"II*\0\x08\0\0\0\x02\0".to_vec();
        dng.extend([0x00, 0x01, 4, 0, 1, 0, 0, 0, 9, 0, 0, 0]); // width
        dng.extend([0x12, 0xC6, 1, 0, 4, 0, 0, 0, 1, 4, 0, 0]); // version of DNG
        assert!(is_raw_still(Path::new("a.tif"), &dng, true));
        dng[22] = 0x13;
        assert!(!is_raw_still(Path::new("a.tif"), &dng, true));
        assert!(is_raw_still(Path::new("a.NEF"), &dng, true));
        assert!(is_raw_still(Path::new("a"), b"II*\0\x10\0\0\0CR\x02\0", true));
        assert!(!is_raw_still(Path::new("a.dng"), b"\xff\xd8\xff", false), "only called so");
        for length in 0..dng.len() {
            is_raw_still(Path::new("a.tif"), &dng[..length], true);
        }
    }
}
