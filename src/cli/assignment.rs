//! Option values of the form `WHO=WHAT`, read from what the user typed.

use std::path::PathBuf;
use std::str::FromStr;

/// `mirror=srgb`, `m1=812,604,143`, `exposure=0.2`: which, and what.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Assignment<T> {
    /// Left of the first `=`.
    pub(super) who: String,
    /// Right of it.
    pub(super) what: T,
}

impl<T: FromStr<Err: std::fmt::Display>> Assignment<T> {
    /// Reads `text`; where it is not of that form the error shows `example`.
    pub(super) fn read(text: &str, example: &str) -> Result<Self, String> {
        let wrong = || format!("there must be something on both sides of the =, for example {example}");
        let (who, what) = text.split_once('=').ok_or_else(wrong)?;
        if who.is_empty() || what.is_empty() {
            return Err(wrong());
        }
        Ok(Self { who: who.to_owned(), what: what.parse().map_err(|error: T::Err| error.to_string())? })
    }
}

/// `mirror=srgb`.
pub(super) fn encoding(text: &str) -> Result<Assignment<String>, String> {
    Assignment::read(text, "mirror=srgb")
}

/// `cg=acescg`.
pub(super) fn colour_space(text: &str) -> Result<Assignment<String>, String> {
    Assignment::read(text, "cg=acescg")
}

/// `cg=beauty`.
pub(super) fn layer(text: &str) -> Result<Assignment<String>, String> {
    Assignment::read(text, "cg=beauty")
}

/// `plate=86`.
pub(super) fn frame_number(text: &str) -> Result<Assignment<u32>, String> {
    Assignment::read(text, "plate=86")
}

/// `plate=01:12:03:14`.
pub(super) fn timecode(text: &str) -> Result<Assignment<String>, String> {
    Assignment::read(text, "plate=01:12:03:14")
}

/// `mirror=12.5`.
pub(super) fn clip_level(text: &str) -> Result<Assignment<Positive>, String> {
    Assignment::read(text, "mirror=12.5")
}

/// `mirror=812.5,604,143.2`.
pub(super) fn outline(text: &str) -> Result<Assignment<Numbers>, String> {
    Assignment::read(text, "mirror=812.5,604,143.2")
}

/// `mirror=812,604,150`, or the numbers alone, which are the photographed sphere's.
pub(super) fn near(text: &str) -> Result<Assignment<Numbers>, String> {
    if text.contains('=') {
        return Assignment::read(text, "mirror=812,604,150");
    }
    Ok(Assignment { who: "mirror".to_owned(), what: text.parse()? })
}

/// `exposure=0.2`.
pub(super) fn tolerance(text: &str) -> Result<Assignment<Positive>, String> {
    Assignment::read(text, "exposure=0.2")
}

/// A number above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Positive(pub(super) f64);

impl FromStr for Positive {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let number = finite(text)?;
        if number > 0.0 { Ok(Self(number)) } else { Err(format!("{text} is not above 0")) }
    }
}

/// Numbers between commas.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Numbers(pub(super) Vec<f64>);

impl FromStr for Numbers {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.split(',').map(|part| finite(part.trim())).collect::<Result<_, _>>().map(Self)
    }
}

/// Width and height in millimetres, `24.89x13.12`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SensorSize(pub(super) [f64; 2]);

impl FromStr for SensorSize {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (width, height) = text.split_once(['x', 'X', '×']).ok_or("write WIDTHxHEIGHT, for example 24.89x13.12")?;
        Ok(Self([width.trim().parse::<Positive>()?.0, height.trim().parse::<Positive>()?.0]))
    }
}

/// `FILE`, or `NAME=FILE` where it has to be said which mirror.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NamedFile {
    /// Name of the mirror.
    pub(super) name: Option<String>,
    /// The file.
    pub(super) file: PathBuf,
}

impl FromStr for NamedFile {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        // An `=` after a separator or a dot belongs to the file's own name.
        let named = text
            .split_once('=')
            .filter(|(name, file)| !name.is_empty() && !file.is_empty() && !name.contains(['/', '\\', '.', ':']));
        match named {
            _ if text.is_empty() => Err("an empty file name".to_owned()),
            Some((name, file)) => Ok(Self { name: Some(name.to_owned()), file: file.into() }),
            None => Ok(Self { name: None, file: text.into() }),
        }
    }
}

fn finite(text: &str) -> Result<f64, String> {
    let number: f64 = text.parse().map_err(|_| format!("\"{text}\" is not a number"))?;
    if number.is_finite() { Ok(number) } else { Err(format!("{text} is not a finite number")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn assignments_name_who_and_what() {
        let read = outline("m1=812.5,604, 143.2").unwrap();
        assert_eq!((read.who.as_str(), read.what.0), ("m1", vec![812.5, 604.0, 143.2]));
        for wrong in ["m1", "=1,2,3", "m1=", "m1=1,,3", "m1=nan", "m1=1,inf"] {
            assert!(outline(wrong).is_err(), "{wrong}");
        }
        assert!(outline("560,300,96").unwrap_err().contains("mirror=812.5,604,143.2"));
        assert!(tolerance("exposure").unwrap_err().contains("exposure=0.2"));
    }

    #[test]
    fn a_circle_alone_is_the_photographed_spheres() {
        assert_eq!(near("812,604,150"), outline("mirror=812,604,150"));
        assert_eq!(near("cg=812,604,150"), outline("cg=812,604,150"));
        assert!(near("812;604").is_err() && near("=1,2,3").is_err());
    }

    #[test]
    fn sensor_sizes_are_positive() {
        assert_eq!("24.89x13.12".parse(), Ok(SensorSize([24.89, 13.12])));
        for wrong in ["24.89", "0x1", "-1x2", "ax2", "infx2"] {
            assert!(wrong.parse::<SensorSize>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_name_before_a_file_is_told_from_a_file_with_an_equals_sign() {
        let read = |text: &str| text.parse::<NamedFile>().unwrap();
        assert_eq!(read("m1=s.exr"), NamedFile { name: Some("m1".to_owned()), file: "s.exr".into() });
        assert_eq!(read("dir/a=b.exr"), NamedFile { name: None, file: "dir/a=b.exr".into() });
        assert_eq!(read("s.exr"), NamedFile { name: None, file: "s.exr".into() });
    }
}
