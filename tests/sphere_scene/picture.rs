//! Looking at frames: a tone-mapped PNG with outlines drawn on it.

use std::f64::consts::TAU;
use std::path::Path;

use plateproof::image::Frame;
use plateproof::sphere::Outline;

pub fn save(path: &Path, frame: &Frame, outlines: &[(Outline, [u8; 3])]) {
    let (width, height) = (frame.size.width as u32, frame.size.height as u32);
    let mut image = image::RgbImage::from_fn(width, height, |x, y| {
        let p = frame.rgb[(y * width + x) as usize];
        image::Rgb(p.map(|v| ((v.max(0.0) / (0.25 + v.max(0.0))).powf(0.6) * 255.0) as u8))
    });
    for (outline, colour) in outlines {
        for i in 0..4000 {
            let [x, y] = outline.point(f64::from(i) / 4000.0 * TAU);
            if x >= 0.0 && y >= 0.0 && (x as u32) < width && (y as u32) < height {
                image.put_pixel(x as u32, y as u32, image::Rgb(*colour));
            }
        }
    }
    image.save(path).unwrap();
}
