use approx::assert_relative_eq;
use nalgebra::Vector3;

use super::gauge::{Gauge, object};
use super::*;
use crate::image::Size;
use crate::optics::camera::FovSource;
use crate::sheet::{CameraSpec, MeasuredSpec};
use crate::sphere::{SphereCone, outline_of_cone};

/// What the fit of a cone through an outline leaves at 27 px radius.
const NUMERICAL: f64 = 1e-5;

fn view(fov_deg: f64) -> View {
    View::from_horizontal_fov(Size { width: 4096, height: 2160 }, 1.0, fov_deg, FovSource::Sheet)
}

/// A sphere of 250 mm at `distance_mm`, off the middle, seen under 42.5 deg, with these notes.
fn sphere(distance_mm: f64, noted_diameter_mm: f64, noted_mm: f64, believed_fov_deg: f64) -> Gauge {
    sphere_towards(Vector3::new(0.3, -0.1, -1.0), distance_mm, [noted_diameter_mm, noted_mm], believed_fov_deg)
}

fn sphere_towards(
    axis: Vector3<f64>,
    distance_mm: f64,
    [noted_diameter_mm, noted_mm]: [f64; 2],
    believed_fov_deg: f64,
) -> Gauge {
    let axis = axis.normalize();
    let cone = SphereCone { axis, half_angle_rad: (125.0 / distance_mm).asin() };
    let outline = outline_of_cone(&view(42.5), &cone).unwrap();
    Gauge::of_outline("sphere m1", noted_diameter_mm, noted_mm, &view(believed_fov_deg), outline)
}

/// A rod of 300 mm straight across the view at 3.1 m, seen under 42.5 deg.
fn rod(noted_length: f64, noted_mm: f64, believed_fov_deg: f64) -> Gauge {
    let true_view = view(42.5);
    let depth = (3100.0_f64.powi(2) - 150.0_f64.powi(2)).sqrt();
    let ends_px = [-150.0, 150.0].map(|x| true_view.project(&Vector3::new(x, 0.0, -depth)).unwrap());
    let measured = MeasuredSpec {
        name: "rod".to_owned(),
        ends_px,
        length: noted_length,
        unit: "mm".to_owned(),
        distance: Some(noted_mm),
        stands_on_ground: false,
    };
    object(&measured, &view(believed_fov_deg), None)
}

#[test]
fn distances_have_their_closed_form_near_and_far() {
    for distance in [300.0, 1000.0, 3200.0, 20_000.0] {
        let gauge = sphere(distance, 250.0, distance, 42.5);
        assert_relative_eq!(gauge.distance_mm().unwrap().value, distance, max_relative = NUMERICAL);
        assert_relative_eq!(gauge.fitting_view().unwrap().horizontal_fov_deg(), 42.5, epsilon = 1e-3);
    }
    // The small-angle rule D = R / a would be 5 % short at 300 mm.
    let half_angle: f64 = (125.0_f64 / 300.0).asin();
    assert!(125.0 / half_angle < 0.975 * 300.0);
    assert_relative_eq!(rod(300.0, 3100.0, 42.5).distance_mm().unwrap().value, 3100.0, max_relative = 1e-9);
}

#[test]
fn doubt_comes_from_outline_lens_and_size() {
    let ahead = |distance| sphere_towards(-Vector3::z(), distance, [250.0, distance], 42.5).distance_mm().unwrap();
    let (near, far) = (ahead(3200.0), ahead(32_000.0));
    // Closed form: 0.1 px on a radius of a f = 206 px, 1 % of the lens, 0.5 % of the diameter.
    let focal_px = view(42.5).focal_px;
    let expected = |distance: f64| (0.1 / focal_px * distance / 125.0).hypot(0.01).hypot(0.005);
    assert_relative_eq!(near.sd / near.value, expected(3200.0), max_relative = 0.02);
    assert_relative_eq!(far.sd / far.value, expected(32_000.0), max_relative = 0.02);
}

#[test]
fn the_odd_one_out_of_several_notes_is_named() {
    let told = |gauges: &[&Gauge]| odd_one::odd_one_out(gauges, 0.05).words();
    let good_rod = rod(300.0, 3100.0, 42.5);
    let good_sphere = sphere(3200.0, 250.0, 3200.0, 42.5);
    let wrong_sphere = told(&[&sphere(3200.0, 250.0, 2700.0, 42.5), &good_rod]);
    assert!(wrong_sphere.contains("check sphere m1"), "{wrong_sphere}");
    let wrong_rod = told(&[&good_sphere, &rod(400.0, 3100.0, 42.5)]);
    assert!(wrong_rod.contains("check rod"), "{wrong_rod}");
    let wrong_lens = told(&[&sphere(3200.0, 250.0, 3200.0, 36.0), &rod(300.0, 3100.0, 36.0)]);
    assert!(wrong_lens.contains("check the focal length"), "{wrong_lens}");
    assert!(wrong_lens.contains("fit 42.5 deg"), "{wrong_lens}");
    let two_wrong = [&good_sphere, &good_rod, &rod(450.0, 3100.0, 42.5)];
    assert!(
        told(&two_wrong).contains("check rod: either its length is about 300 mm (noted 450)"),
        "{}",
        told(&two_wrong)
    );
}

#[test]
fn usual_slips_are_named() {
    let told = |gauge: &Gauge| odd_one::odd_one_out(&[gauge], 0.05).words();
    let radius = told(&sphere(3200.0, 125.0, 3200.0, 42.5));
    assert!(radius.contains("radius noted as the diameter") && radius.contains("one object alone"), "{radius}");
    let feet = told(&sphere(3048.0, 250.0, 10_000.0, 42.5));
    assert!(feet.contains("feet were noted as metres"), "{feet}");
}

#[test]
fn nothing_fits_where_nothing_agrees() {
    let told = odd_one::odd_one_out(&[&sphere(3200.0, 250.0, 2500.0, 42.5), &rod(500.0, 3100.0, 42.5)], 0.05).words();
    assert!(told.contains("measure again"), "{told}");
}

#[test]
fn without_field_of_view_the_fitting_one_is_offered() {
    let mut gauge = sphere(3200.0, 250.0, 3200.0, 42.5);
    gauge.view = View { source: FovSource::Assumed, ..view(40.0) };
    let finding = without_field_of_view(blank_of_shot(&DOC, Concerns::Reference, 5.0), &gauge);
    assert_eq!(finding.verdict, Verdict::Unsure);
    assert!(finding.remedy.words().contains("42.5 deg"), "{}", finding.remedy);
}

/// A pole of 1 m stands 4 m from the foot of a camera whose lens is 1.45 m above the ground and looks 20 deg down.
fn pole(height_mm: f64, tilt_deg: f64) -> Gauge {
    let up = Vector3::new(0.0, 20.0_f64.to_radians().cos(), 20.0_f64.to_radians().sin());
    let ahead = Vector3::new(0.0, 20.0_f64.to_radians().sin(), -20.0_f64.to_radians().cos());
    let foot = 4000.0 * ahead - 1450.0 * up;
    let ends_px = [foot + 1000.0 * up, foot].map(|point| view(42.5).project(&point).unwrap());
    let measured = MeasuredSpec {
        name: "pole".to_owned(),
        ends_px,
        length: 1.0,
        unit: "m".to_owned(),
        distance: None,
        stands_on_ground: true,
    };
    let camera = CameraSpec { height_mm: Some(height_mm), tilt_deg: Some(tilt_deg), ..CameraSpec::default() };
    object(&measured, &view(42.5), Some(&camera))
}

#[test]
fn the_cameras_height_tells_how_far_away_a_pole_stands() {
    let right = pole(1450.0, -20.0).deviation().unwrap();
    assert_relative_eq!(right.value, 0.0, epsilon = 1e-9);
    // Closed form: 20 mm of the height, half a degree of the tilt at atan(1.45 / 4) = 19.9 deg below the horizon.
    let lens_and_ends = 0.01_f64.hypot(0.02);
    let expected = lens_and_ends.hypot(20.0 / 1450.0).hypot(0.5_f64.to_radians() * 4.0 / 1.45);
    assert_relative_eq!(right.sd, expected, max_relative = 0.03);
    // A height taken to the tripod's plate, 200 mm lower, brings the foot nearer by as much.
    let low = pole(1250.0, -20.0);
    assert!((low.deviation().unwrap().value - (1450.0 / 1250.0 - 1.0)).abs() < 0.02, "{:?}", low.deviation());
    let told = odd_one::odd_one_out(&[&low], 0.05).words();
    assert!(told.contains("the camera's height or tilt"), "{told}");
    // Towards the horizon the ground tells nothing.
    assert!(pole(1450.0, -1.0).noted_mm.is_none());
}
