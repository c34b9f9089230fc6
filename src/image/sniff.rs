//! What kind of image a file is: by its first bytes; TGA, which has no mark, by its name.

use std::path::Path;

use ::image::ImageFormat;

use super::movie::{Container, is_movie_name};
use super::raw::is_raw_still;
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
    /// HEIC.
    Heic,
    /// A raw still of a camera.
    Raw,
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
    ("heic", Kind::Heic),
    ("heif", Kind::Heic),
];

/// Brands of HEIC, behind `ftyp` (ISO/IEC 23008-12, 10 and annex B). The last two are of any coding.
const HEIC_BRANDS: [&[u8]; 6] = [b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2"];

/// Brands of AVIF.
const AVIF_BRANDS: [&[u8]; 2] = [b"avif", b"avis"];

/// A still in boxes, by its main brand, or by the others that it names.
fn boxed_still(first_bytes: &[u8]) -> Option<&'static str> {
    if first_bytes.get(4..8) != Some(b"ftyp".as_slice()) {
        return None;
    }
    let length = u32::from_be_bytes(first_bytes.get(..4)?.try_into().ok()?) as usize;
    let main = first_bytes.get(8..12)?;
    let others = first_bytes.get(16..length.clamp(16, first_bytes.len().max(16))).unwrap_or_default();
    let mut brands = std::iter::once(main).chain(others.chunks_exact(4));
    if HEIC_BRANDS.contains(&main) {
        return Some(if brands.any(|brand| AVIF_BRANDS.contains(&brand)) { "AVIF" } else { "HEIC" });
    }
    AVIF_BRANDS.contains(&main).then_some("AVIF")
}

impl Kind {
    /// The same for the general decoder; `None` for those that are read without it.
    pub(super) fn format(self) -> Option<ImageFormat> {
        match self {
            Self::Exr | Self::Dpx | Self::Jxl | Self::Heic | Self::Raw | Self::Movie(_) => None,
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
            Self::Heic => "heic",
            Self::Raw => "raw",
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
            Self::Heic => "HEIC",
            Self::Raw => "a raw still",
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
        let boxed = boxed_still(first_bytes).filter(|_| by_content.is_none());
        if boxed == Some("HEIC") {
            return Ok(Self::Heic);
        }
        if boxed.is_some() {
            return Err(Error::new(
                ErrorKind::Unsupported,
                path,
                "AVIF stills are not read",
                "have it sent as JPEG or HEIC, better as a raw still; or convert it to PNG without changing its colours",
            ));
        }
        if is_raw_still(path, first_bytes, matches!(by_content, None | Some(Self::Tiff))) {
            return Ok(Self::Raw);
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
    fn stills_of_phones_and_cameras_are_told_apart() {
        assert_eq!(Kind::of(Path::new("IMG_0001.HEIC"), b"\0\0\0\x18ftypheic").unwrap(), Kind::Heic);
        assert_eq!(Kind::of(Path::new("a.heif"), b"x").unwrap_err().kind, ErrorKind::Malformed);
        for head in [b"\0\0\0\x1cftypavif".as_slice(), b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif"] {
            let error = Kind::of(Path::new("a.heic"), head).unwrap_err();
            assert!(error.kind == ErrorKind::Unsupported && error.remedy.contains("JPEG"), "{error}");
        }
        for (name, head) in
            [("a.CR3", b"\0\0\0\x18ftypcrx ".as_slice()), ("a.dng", b"II*\0"), ("a", b"FUJIFILMCCD-RAW")]
        {
            assert_eq!(Kind::of(Path::new(name), head).unwrap(), Kind::Raw);
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
