//! The named colour spaces, and those given by their chromaticities.

use nalgebra::{Matrix3, Vector3};

use super::ColourSpace;

const BRADFORD: [f64; 9] = [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];
const REC709: [[f64; 2]; 4] = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06], [0.3127, 0.3290]];

fn xyz(xy: [f64; 2]) -> Vector3<f64> {
    Vector3::new(xy[0] / xy[1], 1.0, (1.0 - xy[0] - xy[1]) / xy[1])
}

fn npm(p: [[f64; 2]; 4]) -> Option<Matrix3<f64>> {
    let column = |c: [f64; 2]| Vector3::new(c[0], c[1], 1.0 - c[0] - c[1]);
    let m = Matrix3::from_columns(&[column(p[0]), column(p[1]), column(p[2])]);
    let s = m.try_inverse()? * xyz(p[3]);
    Some(m * Matrix3::from_diagonal(&s))
}

impl ColourSpace {
    /// The space of that name.
    pub fn parse(name: &str) -> Option<Self> {
        match name {
            "rec709" => Some(Self::rec709()),
            "xyz" => Some(Self { name: name.to_owned(), to_working: npm(REC709)?.try_inverse()? }),
            "p3-d65" => Self::from_chromaticities([0.68, 0.32], [0.265, 0.69], [0.15, 0.06], REC709[3])
                .map(|s| Self { name: name.to_owned(), ..s }),
            "rec2020" => Self::from_chromaticities([0.708, 0.292], [0.17, 0.797], [0.131, 0.046], REC709[3])
                .map(|s| Self { name: name.to_owned(), ..s }),
            _ => None,
        }
    }

    /// The space of those primaries and white.
    pub fn from_chromaticities(red: [f64; 2], green: [f64; 2], blue: [f64; 2], white: [f64; 2]) -> Option<Self> {
        let b = Matrix3::from_row_slice(&BRADFORD);
        let gain = (b * xyz(REC709[3])).component_div(&(b * xyz(white)));
        let adapt = b.try_inverse()? * Matrix3::from_diagonal(&gain) * b;
        let to_working = npm(REC709)?.try_inverse()? * adapt * npm([red, green, blue, white])?;
        to_working.iter().all(|v| v.is_finite()).then(|| Self { name: "chromaticities".to_owned(), to_working })
    }
}
