//! Files → scene-linear frames, with a record of where every belief came from.

mod ceiling;
pub mod clf;
pub mod colour_config;
mod dpx;
pub mod encoding;
mod exif;
mod exr;
mod guard;
pub mod limits;
pub(crate) mod marked_png;
mod movie;
pub mod noise;
pub mod open;
pub mod probe;
mod provenance;
mod raster;
pub(crate) mod raw;
mod request;
pub(crate) mod rows;
mod sniff;
mod stream;
mod wanted;
pub mod write;

use std::path::PathBuf;

use crate::CaptureTime;
use crate::colour::ColourSpace;

pub(crate) use ceiling::photograph::{Ceiling, ceiling};
pub(crate) use ceiling::spike::crowd;
pub(crate) use ceiling::{DISPLAY_WHITE, plateau};
pub use movie::{CodeRange, Field, Matrix, MoviePass, MovieRecord, MovieRequest};
pub(crate) use movie::{MOVIE_ENDINGS, is_movie_name};
pub use provenance::InputRecord;
pub use raw::{RawBalance, RawRecord};
pub(crate) use request::masked_pixels_words;
pub use rows::RowSink;
pub use wanted::{Opened, Wanted};

/// The four pixels around a point between pixel centres (px from the display window's corner), each as column, row and
/// bilinear weight.
pub(crate) fn four_around(point_px: [f64; 2]) -> [(i64, i64, f64); 4] {
    let (x, y) = (point_px[0] - 0.5, point_px[1] - 0.5);
    let (fx, fy) = (x - x.floor(), y - y.floor());
    let (column, row) = (x.floor() as i64, y.floor() as i64);
    [
        (column, row, (1.0 - fx) * (1.0 - fy)),
        (column + 1, row, fx * (1.0 - fy)),
        (column, row + 1, (1.0 - fx) * fy),
        (column + 1, row + 1, fx * fy),
    ]
}

/// Width and height in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

/// The pixels present, relative to the display window's top-left pixel (x right, y down; may be negative: overscan).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DataWindow {
    /// First column.
    pub x: i64,
    /// First row.
    pub y: i64,
    /// Columns present.
    pub width: usize,
    /// Rows present.
    pub height: usize,
}

/// What the file says about how it was exposed and through which lens. Absent values are `None`, never guessed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CaptureMeta {
    /// Exposure time in seconds (EXIF ExposureTime; OpenEXR `expTime`, else `shutterAngle` and `captureRate`).
    pub exposure_time_s: Option<f64>,
    /// f-number (EXIF FNumber, OpenEXR `aperture`).
    pub f_number: Option<f64>,
    /// T-stop (OpenEXR `tStop`); preferred over the f-number.
    pub t_stop: Option<f64>,
    /// ISO speed (EXIF PhotographicSensitivity, OpenEXR `isoSpeed`).
    pub iso: Option<f64>,
    /// Focal length in millimetres (EXIF FocalLength; OpenEXR `pinholeFocalLength`, else `effectiveFocalLength`).
    pub focal_length_mm: Option<f64>,
    /// Width in millimetres of the sensor area that the stored columns cover (focal-plane resolution, or
    /// acquisition rectangle × photosite pitch).
    pub sensor_width_mm: Option<f64>,
    /// Horizontal field of view in degrees where the file states it directly (OpenEXR `screenWindowWidth`,
    /// unless it is the placeholder 1 with no other camera attribute).
    pub horizontal_fov_deg: Option<f64>,
    /// Automatic white balance was on (EXIF WhiteBalance = 0).
    pub auto_white_balance: Option<bool>,
    /// EXIF orientation (1 to 8) that has been applied to the pixels already.
    pub orientation: Option<u16>,
    /// Camera make and model, for the report.
    pub camera: Option<String>,
    /// What `sensor_width_mm` rests on.
    pub sensor_width_basis: Option<SensorWidthBasis>,
    /// Distance at which the lens was focused, in metres (OpenEXR `focus`).
    pub focus_m: Option<f64>,
    /// From the image plane to the entrance pupil, in millimetres, + towards the scene (OpenEXR `entrancePupilOffset`).
    pub entrance_pupil_mm: Option<f64>,
    /// Where the optical axis meets the picture, to the right of its centre and below it, as fractions of the picture's width
    /// (OpenEXR `sensorCenterOffset`).
    pub axis_off_centre: Option<[f64; 2]>,
    /// Columns and rows of the sensor that were read out, before any scaling (OpenEXR `sensorAcquisitionRectangle`,
    /// whose corners are inclusive).
    pub acquisition_px: Option<[usize; 2]>,
    /// Horizontal field of view in degrees by the camera matrix (OpenEXR `worldToNDC`).
    pub matrix_fov_deg: Option<f64>,
    /// Serial number of the camera (EXIF BodySerialNumber, OpenEXR `cameraSerialNumber`).
    pub camera_serial: Option<String>,
    /// The lens (EXIF LensModel, OpenEXR `lensMake` and `lensModel`).
    pub lens: Option<String>,
    /// Serial number of the lens (EXIF LensSerialNumber, OpenEXR `lensSerialNumber`).
    pub lens_serial: Option<String>,
    /// When it was taken (EXIF DateTimeOriginal with OffsetTimeOriginal, OpenEXR `capDate` with `utcOffset`).
    pub captured: Option<CaptureTime>,
    /// Degrees north (EXIF GPSLatitude, OpenEXR `latitude`).
    pub latitude_deg: Option<f64>,
    /// Degrees east (EXIF GPSLongitude, OpenEXR `longitude`).
    pub longitude_deg: Option<f64>,
    /// Metres above sea level (EXIF GPSAltitude, OpenEXR `altitude`).
    pub altitude_m: Option<f64>,
    /// Compass bearing of the view against true north, clockwise, degrees (EXIF GPSImgDirection with reference T).
    pub heading_deg: Option<f64>,
    /// The picture shows all directions, and how (OpenEXR `envmap`).
    pub environment_map: Option<EnvironmentMap>,
}

/// What a sensor width rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SensorWidthBasis {
    /// Pixels per unit of the focal plane (EXIF FocalPlaneXResolution).
    FocalPlane,
    /// Photosites read out × photosite pitch (OpenEXR).
    ReadOut,
    /// The whole sensor, as nothing tells how much of it was read out (OpenEXR `sensorOverallDimensions`).
    WholeSensor,
    /// The rounded 35 mm equivalent focal length (EXIF FocalLengthIn35mmFilm).
    FilmEquivalent,
}

/// How a picture of all directions is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EnvironmentMap {
    /// Latitude and longitude.
    LatLong,
    /// The six sides of a cube.
    Cube,
}

impl CaptureMeta {
    /// How much light the settings let in, in stops against f/1, 1 s, ISO 100: `Sv − Av − Tv` up to a constant
    /// (APEX). Larger = recorded brighter. `None` unless time, aperture and ISO are all known.
    pub fn exposure_stops(&self) -> Option<f64> {
        let (t, n, iso) = (self.exposure_time_s?, self.t_stop.or(self.f_number)?, self.iso?);
        (t > 0.0 && n > 0.0 && iso > 0.0).then(|| t.log2() - 2.0 * n.log2() + (iso / 100.0).log2())
    }
}

/// One scene-linear picture in its own colour space.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Where it came from.
    pub path: PathBuf,
    /// The display window's size. Pixel coordinates are measured from its top-left corner.
    pub size: Size,
    /// The pixels that are present.
    pub data: DataWindow,
    /// Pixel width over pixel height as displayed.
    pub pixel_aspect: f64,
    /// The colour space of `rgb`.
    pub space: ColourSpace,
    /// Scene-linear pixels of the data window, row by row. A pixel that held NaN or Inf is NaN in all channels.
    pub rgb: Vec<[f32; 3]>,
    /// Coverage of each pixel of the data window, where the file has an alpha channel. `rgb` is as stored
    /// (premultiplied or not, see the sheet).
    pub alpha: Option<Vec<f32>>,
    /// Scene-linear value per channel at or above which it counts as clipped; `None` = the recording has no known ceiling.
    pub clip_level: Option<[f32; 3]>,
    /// The samples were stored in 8 bits or fewer.
    pub eight_bit: bool,
    /// Width of one code step at a given linear value matters for noise: bits per sample of integer files.
    pub integer_bits: Option<u8>,
    /// The file format as a short word (`exr`, `dpx`, `movie`, `raw`, `heic`, `jpeg`, `png`, `tiff`, `hdr`, `tga`).
    pub format: &'static str,
    /// Exposure and lens as the file states them.
    pub meta: CaptureMeta,
    /// The entry of the report's `inputs`.
    pub record: InputRecord,
    /// Things the reader of the report should know (masked NaN, guessed layer …).
    pub warnings: Vec<String>,
}

impl Frame {
    /// A computed frame that no file holds: linear light, BT.709 primaries, square pixels, no ceiling, all of `size`
    /// present. `rgb` goes row by row.
    pub fn computed(name: &str, size: Size, rgb: Vec<[f32; 3]>) -> Self {
        Self {
            path: PathBuf::from(name),
            size,
            data: DataWindow { x: 0, y: 0, width: size.width, height: size.height },
            pixel_aspect: 1.0,
            space: ColourSpace::rec709(),
            rgb,
            alpha: None,
            clip_level: None,
            eight_bit: false,
            integer_bits: None,
            format: "exr",
            meta: CaptureMeta::default(),
            record: InputRecord {
                role: "computed".to_owned(),
                file: name.to_owned(),
                width: size.width,
                height: size.height,
                encoding: "scene-linear".to_owned(),
                encoding_from: "default".to_owned(),
                colour_space: "rec709".to_owned(),
                colour_space_from: "default".to_owned(),
                layer: None,
                decoded_fraction: 1.0,
                masked_pixels: 0,
                blake3: String::new(),
                movie: None,
                raw: None,
            },
            warnings: Vec::new(),
        }
    }

    /// The picture was made for a display: its file holds whole numbers in a display encoding, which with more than
    /// 8 bits nobody vouched for. A tone curve or view transform that no standard describes is most likely in it.
    pub fn is_display_picture(&self) -> bool {
        let by_config = colour_config::name_in_config(&self.record.encoding).is_some();
        if by_config || clf::ClfTransform::is_name(&self.record.encoding) {
            return false; // a transform that somebody made for it
        }
        let vouched = matches!(&*self.record.encoding_from, "sheet" | "option");
        let for_display = self.eight_bit || (self.integer_bits.is_some() && !vouched);
        let Some(encoding) = encoding::Encoding::parse(&self.record.encoding) else { return for_display };
        // What a camera records as an ordinary movie has its knee and its look in it.
        let ordinary_movie =
            self.format == "movie" && matches!(encoding, encoding::Encoding::Bt709 | encoding::Encoding::Hlg);
        for_display && (ordinary_movie || encoding.is_display_referred())
    }

    /// The stored pixel whose column and row in the display window are `(x, y)`, or `None` outside the data window
    /// or where it is masked.
    pub fn pixel(&self, x: i64, y: i64) -> Option<[f32; 3]> {
        let (column, row) = (x - self.data.x, y - self.data.y);
        let inside =
            column >= 0 && row >= 0 && (column as usize) < self.data.width && (row as usize) < self.data.height;
        let value = *inside.then(|| self.rgb.get(row as usize * self.data.width + column as usize)).flatten()?;
        value[0].is_finite().then_some(value)
    }

    /// Coverage at `(x, y)`, where the file has alpha and the pixel is present.
    pub fn alpha_at(&self, x: i64, y: i64) -> Option<f32> {
        let (column, row) = (x - self.data.x, y - self.data.y);
        let inside =
            column >= 0 && row >= 0 && (column as usize) < self.data.width && (row as usize) < self.data.height;
        if !inside {
            return None;
        }
        self.alpha.as_ref()?.get(row as usize * self.data.width + column as usize).copied()
    }
}
