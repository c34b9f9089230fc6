//! What is no picture of all directions, though it may look like one from afar.

use crate::image::Frame;
use crate::{Error, ErrorKind, Result};

/// A lat-long picture is twice as wide as high within this fraction.
const ASPECT_SLACK: f64 = 0.01;
/// Outside the circles of two fisheyes it is dark: below this part of what the circles show, in nearly all places.
const DARK: f64 = 0.03;
const NEARLY_ALL: f64 = 0.97;
/// Points that are looked at across the height.
const LOOKED_AT: usize = 96;

/// Refuses what is not twice as wide as high, and two fisheye circles side by side.
///
/// # Errors
/// `Unsupported`, naming what it is and what to give.
pub(super) fn check(frame: &Frame) -> Result<()> {
    let aspect = frame.data.width as f64 / frame.data.height.max(1) as f64;
    let (cause, remedy) = if is_two_fisheyes(frame) {
        (
            "it shows two fisheye circles side by side, as the camera's lenses made them".to_owned(),
            "stitch it to lat-long (equirectangular) with the camera maker's program, every exposure with the same settings and without its stabilisation",
        )
    } else if (aspect / 2.0 - 1.0).abs() > ASPECT_SLACK {
        (
            format!("it is {aspect:.2} times as wide as high, and a lat-long picture of all directions is 2 times"),
            "give the whole sphere of directions, uncropped, twice as wide as high",
        )
    } else {
        return Ok(());
    };
    Err(Error::new(ErrorKind::Unsupported, &frame.path, cause, remedy))
}

fn is_two_fisheyes(frame: &Frame) -> bool {
    let (width, height) = (frame.data.width as f64, frame.data.height as f64);
    // Two squares, each with a circle in it.
    if (width / (2.0 * height) - 1.0).abs() > ASPECT_SLACK || frame.data.height < 16 {
        return false;
    }
    let (mut outside, mut inside) = (Vec::new(), Vec::new());
    for row in 0..LOOKED_AT {
        for column in 0..2 * LOOKED_AT {
            let across = (column as f64 + 0.5) / LOOKED_AT as f64;
            let down = (row as f64 + 0.5) / LOOKED_AT as f64;
            let radius = 2.0 * (across.fract() - 0.5).hypot(down - 0.5);
            let index = (down * height) as usize * frame.data.width + (across * height) as usize;
            let Some(rgb) = frame.rgb.get(index).filter(|rgb| rgb[0].is_finite()) else { continue };
            let value = f64::from(rgb[0] + rgb[1] + rgb[2]);
            if radius > 1.04 {
                outside.push(value);
            } else if radius < 0.9 {
                inside.push(value);
            }
        }
    }
    inside.sort_by(f64::total_cmp);
    let Some(usual) = inside.get(inside.len() / 2) else { return false };
    let dark =
        |values: &[f64]| values.iter().filter(|v| **v < DARK * usual).count() as f64 / values.len().max(1) as f64;
    dark(&outside) > NEARLY_ALL && dark(&inside) < 0.5
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;

    fn picture(width: usize, value: impl Fn(f64, f64) -> f32) -> Frame {
        let height = 100;
        let at = |i: usize| [value((i % width) as f64 / 100.0, (i / width) as f64 / 100.0); 3];
        Frame::computed("take.jpg", Size { width, height }, (0..width * height).map(at).collect())
    }

    #[test]
    fn circles_and_crops_are_named() {
        let circles =
            picture(200, |x, y| if (x.fract() - 0.5).hypot(y - 0.5) < 0.5 { 0.2 + 0.1 * y as f32 } else { 0.001 });
        assert!(check(&circles).unwrap_err().cause.contains("fisheye"));
        assert!(check(&picture(150, |_, _| 0.2)).unwrap_err().cause.contains("1.50 times"));
        assert!(check(&picture(200, |x, y| (0.2 + x * y) as f32)).is_ok());
        assert!(check(&picture(200, |_, _| 0.0)).is_ok(), "black shows no circles");
    }
}
