//! What kind of image a file is: by its first bytes; TGA, which has no mark, by its name.

use std::path::Path;

use ::image::ImageFormat;

use super::movie::{Container, is_movie_name};
use crate::{Error, ErrorKind, Result};

/// The file kinds that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// OpenEXR.
    Exr,
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// TIFF.
    Tiff,
    /// Radiance RGBE.
    Hdr,
    /// Truevision TGA.
    Tga,
    /// DPX.
    Dpx,
    /// JPEG XL.
    Jxl,
    /// A movie.
    Movie(Container),
}

/// The first bytes by which a kind is known.
const MARKS: &[(&[u8], Kind)] = &[
    (&[0x76, 0x2f, 0x31, 0x01], Kind::Exr),
    (&[0xff, 0xd8, 0xff], Kind::Jpeg),
    (b"\x89PNG\r\n\x1a\n", Kind::Png),
    (b"II*\0", Kind::Tiff),
    (b"MM\0*", Kind::Tiff),
    (b"II+\0", Kind::Tiff),
    (b"MM\0+", Kind::Tiff),
    (b"#?", Kind::Hdr),
    (&[0xff, 0x0a], Kind::Jxl),
    (b"\0\0\0\x0cJXL \r\n\x87\n", Kind::Jxl),
    (b"SDPX", Kind::Dpx),
    (b"XPDS", Kind::Dpx),
];

/// The endings by which a person expects a kind.
const ENDINGS: &[(&str, Kind)] = &[
    ("exr", Kind::Exr),
    ("sxr", Kind::Exr),
    ("jpg", Kind::Jpeg),
    ("jpeg", Kind::Jpeg),
    ("png", Kind::Png),
    ("tif", Kind::Tiff),
    ("tiff", Kind::Tiff),
    ("hdr", Kind::Hdr),
    ("rgbe", Kind::Hdr),
    ("tga", Kind::Tga),
    ("dpx", Kind::Dpx),
    ("jxl", Kind::Jxl),
];

/// Brands of the files in which phones store stills (ISO/IEC 23008-12, AVIF), behind `ftyp`.
const PHONE_STILLS: [&[u8]; 8] = [b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis"];

fn is_phone_still(path: &Path, first_bytes: &[u8]) -> bool {
    let brand = first_bytes.get(8..12).unwrap_or_default();
    let by_content = first_bytes.get(4..8) == Some(b"ftyp".as_slice()) && PHONE_STILLS.contains(&brand);
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    by_content || ["heic", "heif", "avif"].iter().any(|known| known.eq_ignore_ascii_case(ending))
}

/// Endings of raw stills, which are said to be such.
const RAW_ENDINGS: [&str; 14] =
    ["dng", "cr2", "cr3", "nef", "nrw", "arw", "raf", "rw2", "orf", "pef", "srw", "3fr", "iiq", "x3f"];

fn is_raw_still(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    RAW_ENDINGS.iter().any(|known| known.eq_ignore_ascii_case(ending))
}

impl Kind {
    /// The same for the general decoder; `None` for those that are read without it.
    pub(super) fn format(self) -> Option<ImageFormat> {
        match self {
            Self::Exr | Self::Dpx | Self::Jxl | Self::Movie(_) => None,
            Self::Jpeg => Some(ImageFormat::Jpeg),
            Self::Png => Some(ImageFormat::Png),
            Self::Tiff => Some(ImageFormat::Tiff),
            Self::Hdr => Some(ImageFormat::Hdr),
            Self::Tga => Some(ImageFormat::Tga),
        }
    }

    /// The short word of the report.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Exr => "exr",
            Self::Jpeg => "jpeg",
            Self::Png => "png",
            Self::Tiff => "tiff",
            Self::Hdr => "hdr",
            Self::Tga => "tga",
            Self::Dpx => "dpx",
            Self::Jxl => "jxl",
            Self::Movie(_) => "movie",
        }
    }

    /// The name people use.
    pub(super) fn title(self) -> &'static str {
        match self {
            Self::Exr => "OpenEXR",
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::Hdr => "Radiance HDR",
            Self::Tga => "TGA",
            Self::Dpx => "DPX",
            Self::Jxl => "JPEG XL",
            Self::Movie(container) => container.title(),
        }
    }

    /// The kind of the file `path` that begins with `first_bytes`.
    ///
    /// # Errors
    /// [`ErrorKind::Malformed`] where the content is not what the name promises, [`ErrorKind::Unsupported`] where
    /// neither is known.
    pub(super) fn of(path: &Path, first_bytes: &[u8]) -> Result<Self> {
        let by_content = MARKS.iter().find(|(mark, _)| first_bytes.starts_with(mark)).map(|(_, kind)| *kind);
        let by_content = by_content.or_else(|| Container::of(first_bytes).map(Self::Movie));
        let by_name = kind_by_name(path);
        if by_content.is_none() && is_phone_still(path, first_bytes) {
            return Err(Error::new(
                ErrorKind::Unsupported,
                path,
                "HEIC and AVIF stills are not read",
                "have the phone send JPEG (iPhone: Settings, Camera, Formats, Most Compatible; or share as JPEG), \
                 better a raw still developed to 16-bit linear TIFF; or convert it to PNG without changing its colours",
            ));
        }
        if is_raw_still(path) && matches!(by_content, None | Some(Self::Tiff)) {
            return Err(Error::new(
                ErrorKind::Unsupported,
                path,
                "raw stills are not read",
                "develop it to 16-bit linear TIFF or half-float OpenEXR: fixed white balance, no tone curve, no sharpening, no lens \
                 correction, highlights clipped and not rebuilt; keep the raw file, which has the most to tell",
            ));
        }
        match (by_content, by_name) {
            (Some(kind), _) | (None, Some(kind @ Self::Tga)) => Ok(kind),
            (None, Some(kind)) => Err(Error::new(
                ErrorKind::Malformed,
                path,
                format!("the content is not {}, although the name says so", kind.title()),
                "copy or render the file again, or correct its name",
            )),
            (None, None) if is_movie_name(&path.to_string_lossy()) => Err(Error::new(
                ErrorKind::Malformed,
                path,
                "the content is no movie that is known (MOV, MP4, MXF, MKV, AVI, MPEG transport stream), although the name says so",
                "copy the movie again, or export the frame as OpenEXR or DPX",
            )),
            (None, None) => Err(Error::new(
                ErrorKind::Unsupported,
                path,
                "this kind of file is not supported",
                "convert it to scene-linear OpenEXR, or to DPX, TIFF, PNG, JPEG, Radiance HDR or TGA",
            )),
        }
    }
}

/// The kind that the file's ending promises.
fn kind_by_name(path: &Path) -> Option<Kind> {
    let ending = path.extension()?.to_str()?;
    ENDINGS.iter().find(|(known, _)| known.eq_ignore_ascii_case(ending)).map(|(_, kind)| *kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_outranks_the_name() {
        let kind = Kind::of(Path::new("quay.png"), &[0xff, 0xd8, 0xff, 0xe0]).unwrap();
        assert_eq!(kind, Kind::Jpeg);
        assert_eq!(Kind::of(Path::new("quay.TGA"), &[0, 0, 2]).unwrap(), Kind::Tga);
    }

    #[test]
    fn stills_that_are_not_read_say_what_to_ask_for() {
        for (name, head) in
            [("IMG_0001.HEIC", b"\0\0\0\x18ftypheic".as_slice()), ("a", b"\0\0\0\x1cftypavif"), ("a.heif", b"x")]
        {
            let error = Kind::of(Path::new(name), head).unwrap_err();
            assert!(error.kind == ErrorKind::Unsupported && error.remedy.contains("JPEG"), "{error}");
        }
        for (name, head) in [("a.CR3", b"\0\0\0\x18ftypcrx ".as_slice()), ("a.dng", b"II*\0"), ("a.RAF", b"FUJIFILM")] {
            let error = Kind::of(Path::new(name), head).unwrap_err();
            assert!(error.kind == ErrorKind::Unsupported && error.remedy.contains("linear TIFF"), "{error}");
        }
        assert_eq!(Kind::of(Path::new("a.heic"), &[0xff, 0xd8, 0xff, 0xe0]).unwrap(), Kind::Jpeg, "only called so");
        assert_eq!(Kind::of(Path::new("a"), &[0xff, 0x0a, 0]).unwrap(), Kind::Jxl);
    }

    #[test]
    fn unknown_and_mislabelled_files_differ() {
        let error = Kind::of(Path::new("quay.exr"), b"hello").unwrap_err();
        assert_eq!(error.kind, ErrorKind::Malformed);
        let error = Kind::of(Path::new("quay.dat"), b"hello").unwrap_err();
        assert_eq!(error.kind, ErrorKind::Unsupported);
    }
}
