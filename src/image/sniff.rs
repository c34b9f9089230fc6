//! What kind of image a file is: by its first bytes; TGA, which has no mark, by its name.

use std::path::Path;

use ::image::ImageFormat;

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
];

impl Kind {
    /// The same for the general decoder; `None` for OpenEXR and DPX, which are read without it.
    pub(super) fn format(self) -> Option<ImageFormat> {
        match self {
            Self::Exr | Self::Dpx => None,
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
        }
    }

    /// The kind of the file `path` that begins with `first_bytes`.
    ///
    /// # Errors
    /// [`ErrorKind::Malformed`] where the content is not what the name promises, [`ErrorKind::Unsupported`] where
    /// neither is known.
    pub(super) fn of(path: &Path, first_bytes: &[u8]) -> Result<Self> {
        let by_content = MARKS.iter().find(|(mark, _)| first_bytes.starts_with(mark)).map(|(_, kind)| *kind);
        let by_name = kind_by_name(path);
        match (by_content, by_name) {
            (Some(kind), _) | (None, Some(kind @ Self::Tga)) => Ok(kind),
            (None, Some(kind)) => Err(Error::new(
                ErrorKind::Malformed,
                path,
                format!("the content is not {}, although the name says so", kind.title()),
                "copy or render the file again, or correct its name",
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
    fn unknown_and_mislabelled_files_differ() {
        let error = Kind::of(Path::new("quay.exr"), b"hello").unwrap_err();
        assert_eq!(error.kind, ErrorKind::Malformed);
        let error = Kind::of(Path::new("quay.dat"), b"hello").unwrap_err();
        assert_eq!(error.kind, ErrorKind::Unsupported);
    }
}
