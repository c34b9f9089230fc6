//! What the codes of ITU-T H.273 in a stream say about curve, primaries, matrix, range and place of the colour differences.

use super::facts::Stream;
use super::layout::{Family, Layout};
use super::signal::Siting;
use super::{CodeRange, Matrix, MovieRequest};
use crate::colour::ColourSpace;
use crate::image::encoding::Encoding;
use crate::image::request::{Belief, OpenRequest};
use crate::{Error, ErrorKind, Result};

/// Rows above which a picture of unknown matrix is no standard definition (ITU-R BT.601-7 has 576 and 480).
const STANDARD_DEFINITION_ROWS: usize = 576;

/// Curves whose published table counts codes from the bottom of the scale, black and grey at the codes that a limited-range stream
/// stores: Sony S-Log2 (2012) and S-Log3 (2014), Panasonic V-Log (2014), Fujifilm F-Log (2016) and F-Log2 (2022), Nikon N-Log (2018)
/// print code and video level side by side, and the level is (code − 64) / 876.
const CODED_FROM_ZERO: [Encoding; 6] =
    [Encoding::SLog2, Encoding::SLog3, Encoding::VLog, Encoding::FLog, Encoding::FLog2, Encoding::NLog];

/// Everything believed about a stream's colours.
#[derive(Debug, Clone)]
pub(super) struct Beliefs {
    pub(super) encoding: Belief<Encoding>,
    pub(super) space: Belief<ColourSpace>,
    pub(super) range: Belief<CodeRange>,
    pub(super) matrix: Option<Belief<Matrix>>,
    pub(super) siting: Belief<Siting>,
    pub(super) siting_name: &'static str,
    pub(super) warnings: Vec<String>,
}

/// What is believed of a stream whose samples lie so.
///
/// # Errors
/// `Parameter` where neither request nor stream tells the curve, `Unsupported` for a matrix that is not read.
pub(super) fn beliefs(request: &OpenRequest<'_>, stream: &Stream, layout: &Layout) -> Result<Beliefs> {
    let mut warnings = Vec::new();
    let encoding = match request.encoding {
        Some(encoding) => encoding,
        None => by_transfer(request, stream, &mut warnings)?,
    };
    let (siting, siting_name) = siting(stream, layout);
    Ok(Beliefs {
        space: space(request, stream, &mut warnings),
        range: range(&request.movie, stream, layout, encoding.value, &mut warnings),
        matrix: (layout.family == Family::Ycbcr).then(|| matrix(request, stream, &mut warnings)).transpose()?,
        encoding,
        siting,
        siting_name,
        warnings,
    })
}

fn by_transfer(request: &OpenRequest<'_>, stream: &Stream, warnings: &mut Vec<String>) -> Result<Belief<Encoding>> {
    let value = match stream.transfer.as_str() {
        "bt709" | "smpte170m" | "bt2020-10" | "bt2020-12" => Encoding::Bt709, // one curve
        "iec61966-2-1" => Encoding::Srgb,
        "smpte2084" => Encoding::Pq,
        "arib-std-b67" => Encoding::Hlg,
        "linear" => Encoding::SceneLinear,
        "bt470m" | "gamma22" => Encoding::Gamma22,
        other => {
            let cause = if other.is_empty() || other == "unknown" {
                "its stream does not say how codes relate to light (transfer characteristics unspecified)".to_owned()
            } else {
                format!("its transfer characteristics \"{}\" name no curve that is read", crate::printable_text(other))
            };
            let remedy = "give `encoding`: bt709 if the camera recorded a normal picture; for a camera log most likely s-log3, \
                          logc3, logc4, v-log, c-log3, log3g10, apple-log, f-log2, n-log or d-log, as the camera's menu or the crew's \
                          notes say (`plateproof explain encodings` lists all)";
            return Err(Error::new(ErrorKind::Parameter, request.path, cause, remedy));
        }
    };
    if value == Encoding::Bt709 {
        warnings.push(
            "its stream states the BT.709 curve, which cameras write over log recordings too: if it looks flat and grey, give \
             `encoding` with the camera's log"
                .to_owned(),
        );
    }
    Ok(Belief { value, from: "file" })
}

/// Chromaticities of red, green and blue and white by H.273, table 2.
fn space(request: &OpenRequest<'_>, stream: &Stream, warnings: &mut Vec<String>) -> Belief<ColourSpace> {
    const D65: [f64; 2] = [0.3127, 0.3290];
    let of = |r, g, b, w| ColourSpace::from_chromaticities(r, g, b, w);
    if let Some(space) = &request.colour_space {
        return space.clone();
    }
    let named = match stream.primaries.as_str() {
        "bt709" => ColourSpace::parse("rec709"),
        "bt2020" => ColourSpace::parse("rec2020"),
        "smpte432" => ColourSpace::parse("p3-d65"),
        "smpte431" => of([0.680, 0.320], [0.265, 0.690], [0.150, 0.060], [0.314, 0.351]),
        "bt470bg" => of([0.64, 0.33], [0.29, 0.60], [0.15, 0.06], D65),
        "smpte170m" | "smpte240m" => of([0.630, 0.340], [0.310, 0.595], [0.155, 0.070], D65),
        _ => None,
    };
    if let Some(value) = named {
        return Belief { value, from: "file" };
    }
    let code = if stream.primaries.is_empty() { "unspecified" } else { stream.primaries.as_str() };
    warnings.push(format!(
        "its colour primaries are {}: BT.709 is assumed; give `colour_space`",
        crate::printable_text(code)
    ));
    Belief { value: ColourSpace::rec709(), from: "default" }
}

fn range(
    asked: &MovieRequest<'_>,
    stream: &Stream,
    layout: &Layout,
    encoding: Encoding,
    warnings: &mut Vec<String>,
) -> Belief<CodeRange> {
    if let Some(value) = asked.code_range {
        return Belief { value, from: "sheet" };
    }
    let flagged = match stream.range.as_str() {
        "tv" => Some(CodeRange::Limited),
        "pc" => Some(CodeRange::Full),
        _ => None,
    };
    // H.264 and H.265 take an absent flag for limited range (ITU-T H.264, E.2.1).
    let usual = if layout.family == Family::Rgb || stream.pixel_format.starts_with("yuvj") {
        CodeRange::Full
    } else {
        CodeRange::Limited
    };
    let told = flagged.map_or(Belief { value: usual, from: "default" }, |value| Belief { value, from: "file" });
    if told.value == CodeRange::Limited && CODED_FROM_ZERO.contains(&encoding) {
        warnings.push(format!(
            "{} is published in codes that count from 0, so they are read at full scale although the stream is of limited range; if a \
             converter has scaled them, give `\"code_range\": \"limited\"` (0.3 stop at white)",
            encoding.name()
        ));
        return Belief { value: CodeRange::Full, from: "default" };
    }
    told
}

fn matrix(request: &OpenRequest<'_>, stream: &Stream, warnings: &mut Vec<String>) -> Result<Belief<Matrix>> {
    if let Some(value) = request.movie.matrix {
        return Ok(Belief { value, from: "sheet" });
    }
    let value = match stream.matrix.as_str() {
        "bt709" => Matrix::Bt709,
        "bt470bg" | "smpte170m" => Matrix::Bt601,
        "bt2020nc" => Matrix::Bt2020,
        "smpte240m" => Matrix::Smpte240,
        "" | "unknown" | "unspecified" => {
            let (value, why) = match stream.primaries.as_str() {
                "bt2020" => (Matrix::Bt2020, "by its primaries"),
                "bt709" => (Matrix::Bt709, "by its primaries"),
                _ if stream.size[1] > STANDARD_DEFINITION_ROWS => (Matrix::Bt709, "as its size has it"),
                _ => (Matrix::Bt601, "as its size has it"),
            };
            warnings.push(format!(
                "its stream does not say by which matrix its luma was made: {} is taken {why}; if colours look off, give `matrix`",
                value.word()
            ));
            return Ok(Belief { value, from: "default" });
        }
        other => {
            let cause = format!("its matrix \"{}\" is not read", crate::printable_text(other));
            let remedy = "give `matrix` if that is a mistake, or export the frame as OpenEXR or DPX";
            return Err(Error::new(ErrorKind::Unsupported, request.path, cause, remedy));
        }
    };
    Ok(Belief { value, from: "file" })
}

/// Where the colour differences lie (H.273, figure 1); without a word as H.264 and H.265 have it: beside the left luma sample, between
/// rows.
fn siting(stream: &Stream, layout: &Layout) -> (Belief<Siting>, &'static str) {
    let [half_across, half_down] = layout.subsampling.map(|power| ((1_u32 << power) as f32 - 1.0) / 2.0);
    let at = |across: f32, down: f32, from| Belief { value: Siting { across, down }, from };
    match stream.siting.as_str() {
        "left" => (at(0.0, half_down, "file"), "left"),
        "center" => (at(half_across, half_down, "file"), "centre"),
        "topleft" => (at(0.0, 0.0, "file"), "top-left"),
        "top" => (at(half_across, 0.0, "file"), "top"),
        "bottomleft" => (at(0.0, 2.0 * half_down, "file"), "bottom-left"),
        "bottom" => (at(half_across, 2.0 * half_down, "file"), "bottom"),
        _ => (at(0.0, half_down, "default"), "left"),
    }
}
