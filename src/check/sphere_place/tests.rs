use approx::assert_relative_eq;

use super::*;

fn offset(mm: [f64; 3]) -> Offset {
    Offset { mm: mm.into(), sd_mm: Vector3::new(1.0, 1.0, 4.0) }
}

#[test]
fn parallax_has_its_closed_form() {
    let up = Vector3::y();
    // 500 mm sideways of a light 2 m above: atan(1/4).
    let seen = offset([500.0, 0.0, 0.0]).parallax_deg(&up, Estimate::new(2000.0, 0.0));
    assert_relative_eq!(seen.value, 0.25_f64.atan().to_degrees(), max_relative = 1e-12);
    // 1 mm of place at 2 m is 0.027 deg at that slope.
    assert_relative_eq!(seen.sd, (1.0 / 2000.0 / (1.0 + 0.0625_f64)).to_degrees(), max_relative = 0.15);
    // Straight towards the light nothing turns.
    assert_relative_eq!(offset([0.0, 300.0, 0.0]).parallax_deg(&up, Estimate::new(2000.0, 0.0)).value, 0.0);
    // A distance known to a tenth leaves about a tenth of the angle open.
    let loose = offset([500.0, 0.0, 0.0]).parallax_deg(&up, Estimate::new(2000.0, 200.0));
    assert!(loose.sd > 0.08 * loose.value && loose.sd < 0.14 * loose.value, "{loose:?}");
}

#[test]
fn far_lights_see_no_difference() {
    let far = offset([500.0, -200.0, 300.0]).parallax_deg(&Vector3::x(), Estimate::new(1e6, 0.0));
    assert!(far.value < 0.03, "{far:?}");
}

#[test]
fn the_offset_is_told_in_the_frame_s_words() {
    let words = offset([-300.0, 40.0, 400.0]).words();
    assert!(words.contains("300 mm to frame left, 40 mm up, 400 mm nearer"), "{words}");
    let none = offset([0.2, 0.1, -0.3]).words();
    assert!(none.ends_with("stands 0 +/- 3 mm from the photographed one's place"), "{none}");
}
