//! The CG's distortion as the sheet states it.

use serde_json::{Map, Value};

use super::places;
use crate::register::lines::{Distortion, DistortionModel, LensFit};
use crate::{Error, ErrorKind, Result};

/// Keys that a stated distortion may have.
const KEYS: [&str; 6] = ["model", "k1", "k2", "radius", "centre_px", "maps"];

/// A stated distortion.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Stated {
    /// The CG is a pinhole.
    None,
    /// A pinhole for now; the distortion is put in later.
    InComp,
    /// A radial map.
    Lens {
        /// The map; for `to_distorted` it goes from the straight to the recorded radius.
        lens: Distortion,
        /// The coefficients go from straight to distorted.
        to_distorted: bool,
    },
}

impl Stated {
    /// Reads the sheet's value, for frames of a size whose focal length may be known (px).
    ///
    /// # Errors
    /// `Parameter` where it is neither `"none"`, `"in-comp"` nor an object as `explain lens-distortion` describes it.
    pub(super) fn read(value: &Value, size: [f64; 2], focal_px: Option<f64>) -> Result<Self> {
        match value {
            Value::String(word) if word == "none" => Ok(Self::None),
            Value::String(word) if word == "in-comp" => Ok(Self::InComp),
            Value::Object(map) => Self::of_object(map, size, focal_px),
            other => Err(wrong(format!("it is {}", crate::printable_text(&other.to_string())))),
        }
    }

    fn of_object(map: &Map<String, Value>, size: [f64; 2], focal_px: Option<f64>) -> Result<Self> {
        if let Some(key) = map.keys().find(|key| !KEYS.contains(&key.as_str())) {
            return Err(wrong(format!("it has no key `{}`", crate::printable_text(key))));
        }
        let mut lens = Distortion { radius_px: radius(map, size, focal_px)?, ..Distortion::none(size) };
        lens.model = match word(map, "model", "polynomial")? {
            "polynomial" => DistortionModel::Polynomial,
            "division" => DistortionModel::Division,
            other => return Err(wrong(format!("its model is \"{}\"", crate::printable_text(other)))),
        };
        lens.k1 = number(map, "k1")?.ok_or_else(|| wrong("`k1` is missing"))?;
        lens.k2 = number(map, "k2")?.unwrap_or(0.0);
        if lens.model == DistortionModel::Division && lens.k2 != 0.0 {
            return Err(wrong("the division model has no `k2`"));
        }
        if let Some(centre) = map.get("centre_px") {
            lens.centre_px = pair(centre)?;
        }
        let to_distorted = match word(map, "maps", "to-straight")? {
            "to-straight" => false,
            "to-distorted" => true,
            other => return Err(wrong(format!("`maps` is \"{}\"", crate::printable_text(other)))),
        };
        Ok(Self::Lens { lens, to_distorted })
    }

    /// Where the CG puts a straight point, px.
    fn placed(&self, straight: [f64; 2]) -> [f64; 2] {
        match self {
            Self::None | Self::InComp => straight,
            Self::Lens { lens, to_distorted: true } => lens.straightened(straight),
            Self::Lens { lens, to_distorted: false } => lens.recorded(straight),
        }
    }

    /// Largest distance over the frame between where the lens and where the CG puts a point, px.
    pub(super) fn remainder_px(&self, fit: &LensFit, size: [f64; 2]) -> f64 {
        let apart = |recorded: [f64; 2]| {
            let cg = self.placed(fit.distortion.straightened(recorded));
            (cg[0] - recorded[0]).hypot(cg[1] - recorded[1])
        };
        places(size).map(apart).filter(|d| d.is_finite()).fold(0.0, f64::max)
    }
}

fn radius(map: &Map<String, Value>, size: [f64; 2], focal_px: Option<f64>) -> Result<f64> {
    match word(map, "radius", "half-diagonal")? {
        "half-diagonal" => Ok(0.5 * size[0].hypot(size[1])),
        "half-width" => Ok(0.5 * size[0]),
        "half-height" => Ok(0.5 * size[1]),
        "focal-length" => focal_px.ok_or_else(|| {
            wrong("its radius is the focal length, but neither sheet nor plate gives the field of view")
        }),
        other => Err(wrong(format!("its radius is \"{}\"", crate::printable_text(other)))),
    }
}

fn word<'a>(map: &'a Map<String, Value>, key: &str, default: &'a str) -> Result<&'a str> {
    map.get(key).map_or(Ok(default), |v| v.as_str().ok_or_else(|| wrong(format!("`{key}` is no word"))))
}

fn number(map: &Map<String, Value>, key: &str) -> Result<Option<f64>> {
    let Some(value) = map.get(key) else { return Ok(None) };
    let number = value.as_f64().filter(|v| v.is_finite() && v.abs() < 1e3);
    number.map(Some).ok_or_else(|| wrong(format!("`{key}` is not a usable number")))
}

fn pair(value: &Value) -> Result<[f64; 2]> {
    let list: Option<Vec<f64>> = value.as_array().and_then(|l| l.iter().map(Value::as_f64).collect());
    list.and_then(|l| <[f64; 2]>::try_from(l).ok()).ok_or_else(|| wrong("`centre_px` is not [x, y]"))
}

fn wrong(what: impl std::fmt::Display) -> Error {
    Error::new(
        ErrorKind::Parameter,
        "shot sheet",
        format!("`cg.distortion` cannot be read: {what}"),
        "write \"none\", \"in-comp\" or { \"model\": \"polynomial\", \"k1\": -0.05, \"k2\": 0.01 }; `plateproof explain lens-distortion` lists the keys",
    )
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    const SIZE: [f64; 2] = [1600.0, 900.0];

    fn read(value: &Value) -> Result<Stated> {
        Stated::read(value, SIZE, Some(2000.0))
    }

    #[test]
    fn every_form_is_read_and_the_rest_named() {
        assert_eq!(read(&json!("none")).unwrap(), Stated::None);
        assert_eq!(read(&json!("in-comp")).unwrap(), Stated::InComp);
        let half_width = read(&json!({ "k1": -0.1, "radius": "half-width", "maps": "to-distorted" })).unwrap();
        let Stated::Lens { lens, to_distorted } = half_width else { panic!("no lens") };
        assert!(to_distorted && (lens.radius_px - 800.0).abs() < 1e-12 && (lens.k1 + 0.1).abs() < 1e-12);
        for bad in [
            json!(3),
            json!({ "k1": "x" }),
            json!({ "k2": 0.1 }),
            json!({ "k1": 0.1, "kk": 2 }),
            json!({ "k1": 0.1, "model": "fisheye" }),
            json!({ "k1": 0.1, "k2": 0.1, "model": "division" }),
            json!({ "k1": 0.1, "centre_px": [1] }),
        ] {
            assert_eq!(read(&bad).unwrap_err().kind, ErrorKind::Parameter, "{bad}");
        }
    }

    #[test]
    fn a_map_and_its_inverse_put_points_in_the_same_place() {
        let lens = Distortion { k1: -0.06, k2: 0.01, ..Distortion::none(SIZE) };
        for model in [DistortionModel::Polynomial, DistortionModel::Division] {
            let lens = Distortion { model, ..lens };
            for point in places(SIZE) {
                let back = lens.recorded(lens.straightened(point));
                assert!((back[0] - point[0]).hypot(back[1] - point[1]) < 1e-6, "{point:?}");
            }
        }
    }
}
