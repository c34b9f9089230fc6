//! The geometry tables of `golden/reference_values.json`: mirror sphere, outline, solid angles, matte patches.
//!
//! The numbers are closed forms evaluated with numpy 2.4.6 (see `golden/reference_values.md`), not by this project. The
//! table `circle_fit_crb` has no counterpart that can be called from outside: the finder weighs its edge points by what
//! each is worth instead of taking N equal ones. `lighting_ratio` is held in `reference_values.rs`.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::f64::consts::{PI, TAU};
use std::path::Path;

use nalgebra::Vector3;
use plateproof::image::Size;
use plateproof::light::radiance::{DirectionGrid, Source, patch_light};
use plateproof::optics::camera::{FovSource, PARALLEL_FOV_DEG, View};
use plateproof::sphere::{MirrorGeometry, SphereCone, outline_of_cone};
use serde_json::{Map, Value};

fn table(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/reference_values.json");
    let text = std::fs::read_to_string(path).expect("golden/reference_values.json is part of the repository");
    let mut all: Map<String, Value> = serde_json::from_str(&text).expect("strict JSON");
    all.remove(name).unwrap_or_else(|| panic!("no table {name}"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap_or_else(|| panic!("{value} is not a list"))
}

fn entries(value: &Value) -> impl Iterator<Item = (f64, f64)> {
    value.as_object().expect("a table").iter().map(|(key, v)| (key.parse().unwrap(), number(v)))
}

fn assert_near(what: &str, got: f64, expected: f64, tolerance: f64) {
    let error = (got - expected).abs();
    assert!(error <= tolerance, "{what}: got {got}, expected {expected}, off by {error:e}");
}

/// A square view of 4000 px whose focal length is 2000 px.
fn wide_view() -> View {
    View::from_horizontal_fov(Size { width: 4000, height: 4000 }, 1.0, 90.0, FovSource::Sheet)
}

/// A sphere whose cone of rays has this half-angle and axis `off_axis_rad` to the right of the middle.
fn cone(off_axis_rad: f64, half_angle_rad: f64) -> SphereCone {
    SphereCone { axis: Vector3::new(off_axis_rad.sin(), 0.0, -off_axis_rad.cos()), half_angle_rad }
}

/// A sphere of `radius_px` seen by parallel rays in the middle of a view of this many px.
fn parallel_sphere(side_px: usize, radius_px: f64) -> MirrorGeometry {
    let size = Size { width: side_px, height: side_px };
    let view = View::from_horizontal_fov(size, 1.0, PARALLEL_FOV_DEG, FovSource::Option);
    let half_angle_rad = (radius_px / view.focal_px).atan();
    MirrorGeometry::new(&view, &cone(0.0, half_angle_rad))
}

/// Mirrored directions of a light at infinity for eight sphere sizes and twelve radii: exact perspective, of which the
/// table holds the difference from 2 asin(s).
#[test]
fn mirrored_directions_in_exact_perspective() {
    let reference = table("mirror_sphere_geometry");
    let view = wide_view();
    let rows = list(&reference["perspective_vs_ortho"]);
    assert_eq!(rows.len(), 8);
    for row in rows {
        let alpha_deg = number(&row["angular_radius_deg"]);
        let geometry = MirrorGeometry::new(&view, &cone(0.0, alpha_deg.to_radians()));
        let blind_deg = geometry.blind_half_angle_rad().to_degrees();
        assert_near("blind cone", blind_deg, number(&row["blind_cone_half_deg"]), 1e-12);
        let outline_px = view.focal_px * alpha_deg.to_radians().tan();
        for (s, error_deg) in entries(&row["err_deg"]) {
            let point = [view.centre_px[0] + s * outline_px, view.centre_px[1]];
            let seen = geometry.reflect(point).expect("on the sphere").direction;
            let angle_deg = seen.x.atan2(seen.z).to_degrees();
            let expected = 2.0 * s.asin().to_degrees() + error_deg;
            assert_near(&format!("alpha {alpha_deg}, s {s}"), angle_deg, expected, 1e-9);
        }
    }
}

/// The picture of a sphere off axis is an ellipse whose centre is not the picture of the sphere's centre.
#[test]
fn outlines_off_axis() {
    let reference = table("mirror_sphere_geometry");
    let view = wide_view();
    for case in list(&reference["ellipse_cases"]) {
        let [gamma_deg, alpha_deg] = ["gamma_deg", "alpha_deg"].map(|key| number(&case[key]));
        let cone = cone(gamma_deg.to_radians(), alpha_deg.to_radians());
        let outline = outline_of_cone(&view, &cone).expect("an ellipse");
        let what = format!("gamma {gamma_deg}, alpha {alpha_deg}");
        let unit = |px: f64| px / view.focal_px;
        assert_near(&what, unit(outline.semi_a), number(&case["semi_major"]), 1e-12);
        assert_near(&what, unit(outline.semi_b), number(&case["semi_minor"]), 1e-12);
        assert_near(&what, outline.semi_a / outline.semi_b, number(&case["ratio"]), 1e-11);
        assert_near(&what, unit(outline.centre_x - view.centre_px[0]), number(&case["ellipse_centre"]), 1e-12);
        let centre = view.project(&cone.axis).expect("in front of the camera");
        assert_near(&what, unit(centre[0] - view.centre_px[0]), number(&case["projected_sphere_centre"]), 1e-12);
        let shift = (outline.centre_x - centre[0]) / outline.semi_b;
        assert_near(&what, shift.abs(), number(&case["centre_shift_in_semi_minor"]).abs(), 1e-10);
    }
}

/// What a pixel is worth under parallel rays: (2 / r) / sqrt(1 − s²) rad. The view's rays are parallel to 0.06°, which
/// changes the slope by up to the sphere's half-angle over two.
#[test]
fn degrees_per_pixel() {
    let reference = table("mirror_sphere_geometry");
    for (radius, row) in reference["pixel_sensitivity"]["deg_per_px"].as_object().unwrap() {
        let radius_px: f64 = radius.parse().unwrap();
        let geometry = parallel_sphere(2000, radius_px);
        let step_px = 1e-3;
        for (s, deg_per_px) in entries(row) {
            let seen = |px: f64| {
                let d = geometry.reflect([1000.0 + s * radius_px + px, 1000.0]).expect("on the sphere").direction;
                d.x.atan2(d.z).to_degrees()
            };
            let slope = (seen(step_px) - seen(-step_px)) / (2.0 * step_px);
            assert_near(&format!("r {radius_px}, s {s}"), slope, deg_per_px, 5e-4 * deg_per_px);
        }
    }
}

/// Every pixel of a sphere under parallel rays shows 4 / r² sr, and those whose middle lies on it add up to the table's
/// sum. Rays that meet at the half-angle α of a few 1e-5 rad change a pixel by α / sqrt(1 − s²) at most twice over.
#[test]
fn pixels_of_a_mirror_sphere_share_all_directions() {
    let reference = table("solid_angle");
    for row in list(&reference["mirrorball"]) {
        let [radius_px, per_px] = ["radius_px", "solid_angle_per_px"].map(|key| number(&row[key]));
        let geometry = parallel_sphere(64 * radius_px as usize, radius_px);
        let alpha_rad = geometry.blind_half_angle_rad();
        let (centre, reach) = (32.0 * radius_px, radius_px as i32 + 1);
        let (mut inside, mut sum) = (0, 0.0);
        for (dx, dy) in
            (-reach..reach).flat_map(|y| (-reach..reach).map(move |x| (f64::from(x) + 0.5, f64::from(y) + 0.5)))
        {
            let Some(seen) = geometry.reflect([centre + dx, centre + dy]) else { continue };
            let bound = 2.0 * alpha_rad / (1.0 - seen.sin_incidence * seen.sin_incidence).sqrt();
            assert_near(&format!("r {radius_px} at {dx}, {dy}"), seen.steradian_per_px2, per_px, bound * per_px);
            inside += 1;
            sum += seen.steradian_per_px2;
        }
        assert_eq!(inside, row["pixels_inside"].as_u64().unwrap(), "r {radius_px}");
        assert_near(&format!("sum at r {radius_px}"), sum, number(&row["sum"]), 1e-3);
    }
}

#[test]
fn the_direction_grid_covers_the_whole_sphere() {
    let sum: f64 = DirectionGrid::shared().steradian.iter().sum();
    assert_near("grid", sum, number(&table("solid_angle")["four_pi"]), 1e-9);
}

/// Sources in the middles of the cells of a latitude-longitude grid with the cells' exact solid angles, carrying
/// `radiance(cosine to the pole)`.
fn lat_long_sources(columns: usize, rows: usize, radiance: impl Fn(f64) -> f64) -> Vec<Source> {
    let edge = |row: usize| (PI * row as f64 / rows as f64).cos();
    let one = |index: usize| {
        let (row, column) = (index / columns, index % columns);
        let (sin_t, cos_t) = (PI * (row as f64 + 0.5) / rows as f64).sin_cos();
        let (sin_p, cos_p) = (TAU * (column as f64 + 0.5) / columns as f64).sin_cos();
        let luminance = radiance(cos_t) * (edge(row) - edge(row + 1)) * TAU / columns as f64;
        let direction = Vector3::new(sin_t * sin_p, cos_t, sin_t * cos_p);
        Source { direction, light: [luminance; 3], luminance, filled: 0.0, clipped: 0.0 }
    };
    (0..columns * rows).map(one).collect()
}

/// A patch that faces up under unit radiance from everywhere, summed over grids of growing fineness.
#[test]
fn a_patch_under_uniform_light() {
    for row in list(&table("solid_angle")["latlong"]).iter().filter(|row| number(&row["W"]) <= 1024.0) {
        let [columns, rows] = ["W", "H"].map(|key| number(&row[key]) as usize);
        let sources = lat_long_sources(columns, rows, |_| 1.0);
        let lit = patch_light(&sources, &Vector3::y()).luminance;
        assert_near(&format!("{columns} x {rows}"), lit, number(&row["cos_irradiance_up_of_unit_L_exact"]), 1e-9);
        let all: f64 = sources.iter().map(|s| s.luminance).sum();
        assert_near(&format!("{columns} x {rows}"), all, number(&row["exact_sum"]), 1e-9);
    }
}

/// Legendre polynomials 0 to 6 at `x` by their recurrence.
fn legendre(degree: usize, x: f64) -> f64 {
    let (mut before, mut here) = (1.0, x);
    for n in 1..degree {
        let n_f = n as f64;
        (before, here) = (here, ((2.0 * n_f + 1.0) * x * here - n_f * before) / (n_f + 1.0));
    }
    if degree == 0 { 1.0 } else { here }
}

/// A matte patch turns a zonal harmonic of degree l into the same harmonic of its normal, times A_l (Funk and Hecke;
/// the factors of Ramamoorthi and Hanrahan 2001). The sum over 512 rows is good to 1e-4.
#[test]
fn patches_weigh_harmonics_as_a_clamped_cosine_does() {
    let reference = table("sh_irradiance");
    for (degree, factor) in list(&reference["A_l"]).iter().enumerate() {
        let sources = lat_long_sources(256, 512, |cosine| legendre(degree, cosine));
        for tilt_deg in [0.0_f64, 35.0, 80.0, 140.0] {
            let (sin_t, cos_t) = tilt_deg.to_radians().sin_cos();
            let lit = patch_light(&sources, &Vector3::new(0.6 * sin_t, cos_t, 0.8 * sin_t)).luminance;
            let expected = number(factor) * legendre(degree, cos_t);
            assert_near(&format!("degree {degree}, tilt {tilt_deg}"), lit, expected, 1e-4);
        }
    }
}
