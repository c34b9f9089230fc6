//! Which wrapping a movie has: by its first bytes, never by its name.

use std::path::Path;

/// The wrappings that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum Container {
    /// QuickTime and MP4 (ISO/IEC 14496-12).
    Mov,
    /// Matroska and WebM.
    Matroska,
    /// MXF (SMPTE ST 377-1).
    Mxf,
    /// AVI.
    Avi,
    /// MPEG transport streams (ISO/IEC 13818-1), as AVCHD cameras write them.
    Transport,
}

/// Endings by which a person expects a movie.
pub(crate) const MOVIE_ENDINGS: [&str; 9] = ["mov", "mp4", "m4v", "mxf", "mkv", "webm", "avi", "mts", "m2ts"];

/// A movie by its name's ending.
pub(crate) fn is_movie_name(name: &str) -> bool {
    let ending = Path::new(name).extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| MOVIE_ENDINGS.iter().any(|known| known.eq_ignore_ascii_case(ending)))
}

/// First boxes of QuickTime and MP4 files.
const FIRST_BOXES: [&[u8]; 7] = [b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"];

/// Brands of ISO files that hold stills (ISO/IEC 23008-12, AVIF) or one camera's raw stills.
const STILL_BRANDS: [&[u8]; 9] = [b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis", b"crx "];

/// First bytes of a partition pack (SMPTE ST 377-1, 7.1).
const PARTITION_PACK: [u8; 11] = [0x06, 0x0e, 0x2b, 0x34, 0x02, 0x05, 0x01, 0x01, 0x0d, 0x01, 0x02];

/// Bytes of a transport packet, without and with the four bytes of its arrival time.
const TRANSPORT_PACKETS: [(usize, usize); 2] = [(0, 188), (4, 192)];

/// The byte that every transport packet begins with.
const SYNC: u8 = 0x47;

impl Container {
    /// The wrapping of a file that begins with `head`.
    pub(in super::super) fn of(head: &[u8]) -> Option<Self> {
        let brand = head.get(8..12).unwrap_or_default();
        let named = head.get(4..8).unwrap_or_default();
        if FIRST_BOXES.contains(&named) {
            return (named != b"ftyp" || !STILL_BRANDS.contains(&brand)).then_some(Self::Mov);
        }
        if head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]) {
            return Some(Self::Matroska);
        }
        if head.starts_with(&PARTITION_PACK) {
            return Some(Self::Mxf);
        }
        if head.starts_with(b"RIFF") && brand == b"AVI " {
            return Some(Self::Avi);
        }
        let synced = |(first, step): &(usize, usize)| (0..4).all(|i| head.get(first + i * step) == Some(&SYNC));
        TRANSPORT_PACKETS.iter().any(synced).then_some(Self::Transport)
    }

    /// What ffmpeg calls the reader of it. Naming it keeps ffmpeg from taking a file for a list of other files.
    pub(super) fn reader(self) -> &'static str {
        match self {
            Self::Mov => "mov",
            Self::Matroska => "matroska",
            Self::Mxf => "mxf",
            Self::Avi => "avi",
            Self::Transport => "mpegts",
        }
    }

    /// The name people use.
    pub(in super::super) fn title(self) -> &'static str {
        match self {
            Self::Mov => "QuickTime or MP4",
            Self::Matroska => "Matroska",
            Self::Mxf => "MXF",
            Self::Avi => "AVI",
            Self::Transport => "MPEG transport stream",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrappings_are_told_by_content_and_stills_are_none() {
        assert_eq!(Container::of(b"\0\0\0\x14ftypqt  \0\0\0\0"), Some(Container::Mov));
        assert_eq!(Container::of(b"\0\0\0\x18ftypheic\0\0\0\0"), None);
        assert_eq!(Container::of(b"RIFF\0\0\0\0AVI LIST"), Some(Container::Avi));
        assert_eq!(Container::of(b"RIFF\0\0\0\0WAVEfmt "), None);
        assert_eq!(Container::of(b"#EXTM3U\nhttp://quay/"), None, "a play list names other files");
        let mut packets = vec![0; 192 * 4];
        (0..4).for_each(|i| packets[4 + 192 * i] = SYNC);
        assert_eq!(Container::of(&packets), Some(Container::Transport));
        assert_eq!(Container::of(b""), None);
    }

    #[test]
    fn movies_are_expected_by_their_endings() {
        assert!(is_movie_name("a/ferry_take2.MOV") && is_movie_name("00012.mts"));
        assert!(!is_movie_name("ferry.mov.exr") && !is_movie_name("mov"));
    }
}
