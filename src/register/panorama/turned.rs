//! An exposure of all directions brought into the place of another.

use nalgebra::Rotation3;

use crate::base::parallel;
use crate::image::{Frame, four_around};
use crate::light::environment::{Convention, convention_of, direction};

/// The frame as it would have been, had the camera not been turned: `rotation` takes directions of the reference to those that the
/// frame has them in. What lies between clipped and other pixels counts as clipped.
pub(super) fn turned_back(frame: &Frame, rotation: &Rotation3<f64>) -> Frame {
    let convention = convention_of(frame);
    let size = [frame.data.width, frame.data.height];
    let clip = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
    let pixel = |index: usize| {
        let place = [(index % size[0]) as f64, (index / size[0]) as f64];
        let [longitude, latitude] = convention.longitude_latitude(place, size);
        sampled(frame, convention, size, convention.point(&(rotation * direction(longitude, latitude)), size), clip)
    };
    Frame { rgb: parallel::map(frame.rgb.len(), pixel), ..crate::image::rows::without_pixels(frame) }
}

fn sampled(frame: &Frame, convention: Convention, size: [usize; 2], point: [f64; 2], clip: [f32; 3]) -> [f32; 3] {
    let period = (convention.period(size[0]) as i64).max(1);
    let (mut sum, mut highest, mut clipped) = ([0.0_f64; 3], [0.0_f32; 3], [false; 3]);
    for (column, row, weight) in four_around([point[0] + 0.5, point[1] + 0.5]) {
        let column = column.rem_euclid(period) as usize;
        let row = row.clamp(0, size[1] as i64 - 1) as usize;
        let rgb = frame.rgb[row * size[0] + column];
        for c in 0..3 {
            sum[c] += weight * f64::from(rgb[c]);
            highest[c] = highest[c].max(rgb[c]);
            clipped[c] |= weight > 1e-6 && rgb[c] >= clip[c];
        }
    }
    let value = [0, 1, 2].map(|c| if clipped[c] { highest[c].max(clip[c]) } else { sum[c] as f32 });
    // A masked pixel masks what it is a part of.
    if value.iter().all(|v| v.is_finite()) { value } else { [f32::NAN; 3] }
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;
    use crate::image::Size;

    #[test]
    fn a_turn_there_and_back_is_none() {
        let size = Size { width: 128, height: 64 };
        let smooth = |i: usize| {
            let place = [(i % 128) as f64, (i / 128) as f64];
            let [lon, lat] = Convention::PixelPatches.longitude_latitude(place, [128, 64]);
            let d = direction(lon, lat);
            [1.0 + 0.5 * d.x, 1.0 + 0.5 * d.y, 1.0 + 0.5 * d.z].map(|v| v as f32)
        };
        let frame = Frame::computed("env.exr", size, (0..128 * 64).map(smooth).collect());
        let rotation = Rotation3::new(Vector3::new(0.1, -0.3, 0.2));
        let turned = turned_back(&frame, &rotation);
        // Its x component is now that of the turned direction.
        let index = 20 * 128 + 40;
        let [lon, lat] = Convention::PixelPatches.longitude_latitude([40.0, 20.0], [128, 64]);
        let there = rotation * direction(lon, lat);
        assert!((f64::from(turned.rgb[index][0]) - (1.0 + 0.5 * there.x)).abs() < 2e-3);
        let back = turned_back(&turned, &rotation.inverse());
        let apart = back.rgb.iter().zip(&frame.rgb).map(|(a, b)| (a[1] - b[1]).abs()).fold(0.0, f32::max);
        assert!(apart < 4e-3, "{apart}");
    }
}
