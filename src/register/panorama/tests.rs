use nalgebra::Vector3;

use super::*;
use crate::Stops;
use crate::image::Size;
use crate::light::environment::{Convention, direction};

const SIZE: [usize; 2] = [720, 360];

/// A made-up room of all directions: soft walls, and many small things of every brightness.
fn radiance(d: &Vector3<f64>) -> f64 {
    let mut light = 0.25 + 0.1 * d.y + 0.05 * (3.0 * d.x).sin();
    for i in 0..160_u32 {
        let spin = f64::from(i) * 2.399_963;
        let y = 1.0 - (2.0 * f64::from(i) + 1.0) / 160.0;
        let r = (1.0 - y * y).sqrt();
        let at = Vector3::new(r * spin.cos(), y, r * spin.sin());
        let width = 0.02 + 0.03 * f64::from(i % 5);
        let apart = (1.0 - d.dot(&at)).max(0.0) * 2.0;
        light += (0.15 + 0.2 * f64::from(i % 7)) * (-apart / (2.0 * width * width)).exp();
    }
    light
}

/// The room as a camera of this exposure records it, turned.
fn exposure(stops: f64, turn: [f64; 3]) -> BracketFrame {
    let rotation = Rotation3::new(Vector3::from(turn).map(f64::to_radians));
    let back = rotation.inverse();
    let pixel = |i: usize| {
        let [lon, lat] =
            Convention::PixelPatches.longitude_latitude([(i % SIZE[0]) as f64, (i / SIZE[0]) as f64], SIZE);
        [(radiance(&(back * direction(lon, lat))) * stops.exp2()).min(1.0) as f32; 3]
    };
    let size = Size { width: SIZE[0], height: SIZE[1] };
    let mut frame = Frame::computed("env.exr", size, crate::base::parallel::map(SIZE[0] * SIZE[1], pixel));
    frame.clip_level = Some([1.0; 3]);
    BracketFrame { frame, stops: Stops(stops) }
}

/// Known by construction: turns come back within 0.02 deg, light within 0.02 stop where it was not clipped everywhere.
#[test]
fn turned_exposures_come_back_in_place() {
    let turns = [[1.2, -0.7, 0.4], [0.0; 3], [-1.5, 0.9, 1.1]];
    let frames: Vec<BracketFrame> = [-3.0, -0.5, 0.5].into_iter().zip(turns).map(|(s, t)| exposure(s, t)).collect();
    let shown: Vec<Shown> = frames.iter().map(|f| Shown::of(&f.frame)).collect();
    for (i, turn) in turns.iter().enumerate() {
        let found = measure(&shown[1], &shown[i]).unwrap_or_else(|| panic!("{i}"));
        let wanted = Rotation3::new(Vector3::from(*turn).map(f64::to_radians));
        let apart = (found.rotation * wanted.inverse()).angle().to_degrees();
        assert!(apart < 0.02, "exposure {i}: {apart} deg apart, sd {}", found.sd_rad.to_degrees());
    }
    let merged = merge_panorama(frames).unwrap();
    assert_eq!(merged.inputs.len(), 3);
    assert!(merged.assumptions.iter().any(|a| a.contains("is turned by")), "{:?}", merged.assumptions);
    let mut errors = Vec::new();
    for (i, rgb) in merged.frame.rgb.iter().enumerate() {
        let [lon, lat] =
            Convention::PixelPatches.longitude_latitude([(i % SIZE[0]) as f64, (i / SIZE[0]) as f64], SIZE);
        errors.push((f64::from(rgb[1]) / radiance(&direction(lon, lat))).log2().abs());
    }
    errors.sort_by(f64::total_cmp);
    assert!(errors[errors.len() * 99 / 100] < 0.02, "{}", errors[errors.len() * 99 / 100]);
}

/// Four fifths of the room are clipped two stops over: what is left tells no turn, and none is guessed.
#[test]
fn an_exposure_that_is_clipped_nearly_everywhere_is_not_registered() {
    let [sound, over] = [(-0.5, [0.0; 3]), (2.0, [-1.5, 0.9, 1.1])].map(|(stops, turn)| exposure(stops, turn));
    let clipped = over.frame.rgb.iter().filter(|rgb| rgb[1] >= 0.9).count();
    assert!(5 * clipped > 4 * over.frame.rgb.len(), "{clipped} of {}", over.frame.rgb.len());
    assert!(measure(&Shown::of(&sound.frame), &Shown::of(&over.frame)).is_none());
}

#[test]
fn pictures_of_two_places_are_not_registered() {
    let other = |i: usize| {
        let [lon, lat] =
            Convention::PixelPatches.longitude_latitude([(i % SIZE[0]) as f64, (i / SIZE[0]) as f64], SIZE);
        let d = direction(lon, lat);
        let wave = (9.0 * d.x).sin() * (7.0 * d.y).cos() + (11.0 * d.z).sin();
        [(0.3 + 0.1 * wave) as f32; 3]
    };
    let size = Size { width: SIZE[0], height: SIZE[1] };
    let other = Frame::computed("other.exr", size, (0..SIZE[0] * SIZE[1]).map(other).collect());
    assert!(measure(&Shown::of(&exposure(0.0, [0.0; 3]).frame), &Shown::of(&other)).is_none());
}
