//! Embedded ICC profiles of the matrix kind: three primaries and one tone curve.
//!
//! Layout: ICC.1:2022 (profile version 4.4), sections 7 (header, tag table), 10.6 (`curv`), 10.18 (`para`), 10.31
//! (`XYZ`); `desc` of version 2: ICC.1:2001-04, section 6.5.17.

use super::super::encoding::Encoding;
use super::super::request::named_space;
use crate::colour::ColourSpace;

/// Code values at which a profile's curve is held against the encodings known here.
const PROBES: [f64; 6] = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9];

/// Largest difference in linear value at which a curve counts as an encoding known here. Tables of 8-bit profiles
/// and rounded gammas stay below; sRGB and a pure 2.2 power differ by 0.008.
const CURVE_SLACK: f64 = 0.003;

/// Bytes of the profile header.
const HEADER_BYTES: usize = 128;

/// What a profile says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Profile {
    /// Its name for people.
    pub(super) description: String,
    /// The tone curve, if it is one known here.
    pub(super) encoding: Option<Encoding>,
    /// The primaries, if it has any.
    pub(super) space: Option<ColourSpace>,
}

/// Reads a profile; `None` if these bytes are not one.
pub(super) fn read(icc: &[u8]) -> Option<Profile> {
    (icc.get(36..40)? == b"acsp").then(|| Profile {
        description: description(icc).unwrap_or_else(|| "without name".to_owned()),
        encoding: encoding(icc),
        space: space(icc),
    })
}

/// The data of the tag with this signature.
fn tag(icc: &[u8], signature: [u8; 4]) -> Option<&[u8]> {
    let count = be_u32(icc, HEADER_BYTES)? as usize;
    let table = icc.get(HEADER_BYTES + 4..)?.as_chunks::<12>().0;
    let entry = table.iter().take(count).find(|entry| entry.starts_with(&signature))?;
    let (start, length) = (be_u32(entry, 4)? as usize, be_u32(entry, 8)? as usize);
    icc.get(start..start.checked_add(length)?)
}

fn description(icc: &[u8]) -> Option<String> {
    let data = tag(icc, *b"desc")?;
    let text = match data.get(..4)? {
        b"desc" => String::from_utf8_lossy(data.get(12..)?.split(|b| *b == 0).next()?).into_owned(),
        b"mluc" => {
            let (length, start) = (be_u32(data, 20)? as usize, be_u32(data, 24)? as usize);
            let units = data.get(start..start.checked_add(length)?)?.as_chunks::<2>().0;
            char::decode_utf16(units.iter().map(|two| u16::from_be_bytes(*two))).filter_map(Result::ok).collect()
        }
        _ => return None,
    };
    Some(text.trim().chars().take(80).collect())
}

/// The primaries are stored adapted to the D50 of the connection space by the same linear adaptation that brings them
/// back, so as chromaticities with their own sum as white they give the device's space again.
fn space(icc: &[u8]) -> Option<ColourSpace> {
    let [red, green, blue] = [colorant(icc, *b"rXYZ")?, colorant(icc, *b"gXYZ")?, colorant(icc, *b"bXYZ")?];
    let white = [red[0] + green[0] + blue[0], red[1] + green[1] + blue[1], red[2] + green[2] + blue[2]];
    let chromaticity = |xyz: [f64; 3]| {
        let sum = xyz.iter().sum::<f64>();
        (sum > 0.0).then(|| [xyz[0] / sum, xyz[1] / sum])
    };
    let space = ColourSpace::from_chromaticities(
        chromaticity(red)?,
        chromaticity(green)?,
        chromaticity(blue)?,
        chromaticity(white)?,
    )?;
    Some(named_space(space))
}

fn colorant(icc: &[u8], signature: [u8; 4]) -> Option<[f64; 3]> {
    let data = tag(icc, signature)?;
    (data.get(..4)? == b"XYZ ").then_some(())?;
    Some([fixed(data, 8)?, fixed(data, 12)?, fixed(data, 16)?])
}

/// The encoding known here whose curve the profile's green curve follows.
fn encoding(icc: &[u8]) -> Option<Encoding> {
    let curve = tag(icc, *b"gTRC").or_else(|| tag(icc, *b"kTRC"))?;
    let stated: Vec<f64> = PROBES.iter().map(|code| evaluate(curve, *code)).collect::<Option<_>>()?;
    let error = |encoding: &Encoding| {
        let difference = |(code, want): (&f64, &f64)| (encoding.decode(*code) - want).abs();
        PROBES.iter().zip(&stated).map(difference).fold(0.0, f64::max)
    };
    let nearest = Encoding::ALL.iter().copied().min_by(|a, b| error(a).total_cmp(&error(b)))?;
    (error(&nearest) <= CURVE_SLACK).then_some(nearest)
}

/// The linear value that a `curv` or `para` tag gives for a code value.
fn evaluate(curve: &[u8], code: f64) -> Option<f64> {
    match curve.get(..4)? {
        b"curv" => evaluate_table(curve, code),
        b"para" => evaluate_formula(curve, code),
        _ => None,
    }
}

fn evaluate_table(curve: &[u8], code: f64) -> Option<f64> {
    let count = be_u32(curve, 8)? as usize;
    let entry = |index: usize| {
        let start = index.checked_mul(2)?.checked_add(12)?;
        curve.get(start..start.checked_add(2)?).map(|two| u16::from_be_bytes([two[0], two[1]]))
    };
    match count {
        0 => Some(code),
        1 => Some(code.powf(f64::from(entry(0)?) / 256.0)),
        _ => {
            let place = code * (count - 1) as f64;
            let (below, part) = (place.floor(), place.fract());
            let low = f64::from(entry(below as usize)?);
            let high = f64::from(entry((below as usize + 1).min(count - 1))?);
            Some((low + (high - low) * part) / 65_535.0)
        }
    }
}

/// The five function types of table 68: power segment above a break, linear segment below.
fn evaluate_formula(curve: &[u8], code: f64) -> Option<f64> {
    let kind = u16::from_be_bytes([*curve.get(8)?, *curve.get(9)?]);
    let p = |index: usize| fixed(curve, 12 + 4 * index);
    let power = |offset: f64| Some((p(1)? * code + p(2)?).max(0.0).powf(p(0)?) + offset);
    match kind {
        0 => Some(code.powf(p(0)?)),
        1 if code >= -p(2)? / p(1)? => power(0.0),
        1 => Some(0.0),
        2 if code >= -p(2)? / p(1)? => power(p(3)?),
        2 => p(3),
        3 if code >= p(4)? => power(0.0),
        3 => Some(p(3)? * code),
        4 if code >= p(4)? => power(p(5)?),
        4 => Some(p(3)? * code + p(6)?),
        _ => None,
    }
}

/// An s15Fixed16 number.
fn fixed(data: &[u8], start: usize) -> Option<f64> {
    be_u32(data, start).map(|bits| f64::from(bits as i32) / 65_536.0)
}

fn be_u32(data: &[u8], start: usize) -> Option<u32> {
    let four = data.get(start..start.checked_add(4)?)?;
    Some(u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A version-2 matrix profile with the given colourants (D50) and green curve.
    fn matrix_profile(name: &str, colorants: [[f64; 3]; 3], curve: &[u8]) -> Vec<u8> {
        let xyz = |v: [f64; 3]| {
            let mut data = b"XYZ \0\0\0\0".to_vec();
            for x in v {
                data.extend(((x * 65_536.0).round() as i32).to_be_bytes());
            }
            data
        };
        let mut desc = b"desc\0\0\0\0".to_vec();
        desc.extend((name.len() as u32 + 1).to_be_bytes());
        desc.extend(name.as_bytes());
        desc.push(0);
        let tags: Vec<(&[u8; 4], Vec<u8>)> = vec![
            (b"desc", desc),
            (b"rXYZ", xyz(colorants[0])),
            (b"gXYZ", xyz(colorants[1])),
            (b"bXYZ", xyz(colorants[2])),
            (b"gTRC", curve.to_vec()),
        ];
        let mut icc = vec![0; HEADER_BYTES];
        icc[36..40].copy_from_slice(b"acsp");
        icc.extend((tags.len() as u32).to_be_bytes());
        let mut start = icc.len() + 12 * tags.len();
        for (signature, data) in &tags {
            icc.extend(*signature);
            icc.extend((start as u32).to_be_bytes());
            icc.extend((data.len() as u32).to_be_bytes());
            start += data.len();
        }
        for (_, data) in &tags {
            icc.extend(data);
        }
        icc
    }

    /// Colourants of the sRGB profile of IEC 61966-2-1 as published by HP in 1998 (from memory).
    const SRGB_COLORANTS: [[f64; 3]; 3] =
        [[0.43607, 0.22249, 0.01392], [0.38515, 0.71687, 0.09708], [0.14307, 0.06061, 0.71410]];

    #[test]
    fn an_srgb_profile_is_srgb() {
        let mut curve = b"para\0\0\0\0\0\x03\0\0".to_vec();
        for value in [2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045] {
            curve.extend(((value * 65_536.0_f64).round() as i32).to_be_bytes());
        }
        let profile = read(&matrix_profile("sRGB IEC61966-2.1", SRGB_COLORANTS, &curve)).unwrap();
        assert_eq!(profile.description, "sRGB IEC61966-2.1");
        assert_eq!(profile.encoding, Some(Encoding::Srgb));
        assert_eq!(profile.space.unwrap().name, "rec709");
    }

    #[test]
    fn a_linear_profile_is_linear_and_an_unknown_curve_stays_unknown() {
        let linear = read(&matrix_profile("linear", SRGB_COLORANTS, b"curv\0\0\0\0\0\0\0\0")).unwrap();
        assert_eq!(linear.encoding, Some(Encoding::SceneLinear));
        let mut odd = b"curv\0\0\0\0\0\0\0\x01".to_vec();
        odd.extend([0x05, 0x80]); // gamma 5.5
        assert_eq!(read(&matrix_profile("odd", SRGB_COLORANTS, &odd)).unwrap().encoding, None);
    }

    #[test]
    fn cut_profiles_do_not_panic() {
        let whole = matrix_profile("sRGB", SRGB_COLORANTS, b"curv\0\0\0\0\0\0\0\x02\0\0\xff\xff");
        for length in 0..whole.len() {
            let _ = read(&whole[..length]);
        }
        assert!(read(&whole[..100]).is_some());
        assert!(read(b"not a profile").is_none());
    }
}
