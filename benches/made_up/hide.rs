//! Something in front of the sphere: a dark straight edge that hides a part of its picture from one side.

use plateproof::demo::render::Picture;

/// Its colour: a dark flag.
const FLAG: [f32; 3] = [0.03, 0.031, 0.034];

/// Hides `fraction` of a disc's area from the side at `from_deg` (0 = frame right, 90 = down).
pub(crate) fn hide(picture: &mut Picture, centre_px: [f64; 2], radius_px: f64, fraction: f64, from_deg: f64) {
    let edge = radius_px * edge_of_segment(fraction);
    let (sin, cos) = from_deg.to_radians().sin_cos();
    for (index, pixel) in picture.rgb.iter_mut().enumerate() {
        let x = (index % picture.size.width) as f64 + 0.5 - centre_px[0];
        let y = (index / picture.size.width) as f64 + 0.5 - centre_px[1];
        let (towards, along) = (x * cos + y * sin, x * sin - y * cos);
        let inside = (towards - edge + 0.5).clamp(0.0, 1.0) * (1.3 * radius_px - along.abs() + 0.5).clamp(0.0, 1.0);
        let cover = inside as f32;
        *pixel = [0, 1, 2].map(|c| pixel[c] + (FLAG[c] - pixel[c]) * cover);
    }
}

/// Distance of the chord from the centre of a unit disc that cuts off this fraction of its area, by bisection.
pub(crate) fn edge_of_segment(fraction: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..50 {
        let d = f64::midpoint(low, high);
        let cut = (d.acos() - d * (1.0 - d * d).sqrt()) / std::f64::consts::PI;
        if cut > fraction { low = d } else { high = d }
    }
    low
}
