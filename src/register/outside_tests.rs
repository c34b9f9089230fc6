//! The same pictures as OpenCV and scikit-image were given (`golden/frames`).

#![allow(clippy::print_stderr, reason = "shows the measured errors with --nocapture")]

use serde_json::Value;

use super::*;

fn reference() -> Value {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/frames/reference.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn matrix(value: &Value) -> nalgebra::Matrix3<f64> {
    nalgebra::Matrix3::from_row_iterator(value.as_array().unwrap().iter().flat_map(numbers))
}

fn mapped(matrix: &nalgebra::Matrix3<f64>, [x, y]: [f64; 2]) -> [f64; 2] {
    let p = matrix * nalgebra::Vector3::new(x, y, 1.0);
    [p.x / p.z, p.y / p.z]
}

/// The pair of pictures of one case.
fn pictures(case: &Value, size: [usize; 2]) -> (Plane, Plane) {
    let waves: Vec<Vec<f64>> = case["waves"].as_array().unwrap().iter().map(numbers).collect();
    let back = matrix(&case["truth_px"]).try_inverse().unwrap();
    let value = |[x, y]: [f64; 2]| {
        let sum: f64 = waves.iter().map(|w| w[3] * (w[0] * x + w[1] * y + w[2]).sin()).sum();
        (0.5 + sum) as f32
    };
    let centre = |x: usize, y: usize| [x as f64 + 0.5, y as f64 + 0.5];
    let fixed = Plane::from_fn(size[0], size[1], |x, y| value(centre(x, y)));
    let moving = Plane::from_fn(size[0], size[1], |x, y| value(mapped(&back, centre(x, y))));
    (fixed, moving)
}

#[test]
fn maps_are_found_as_well_as_by_opencv_and_scikit_image() {
    let reference = reference();
    let size = numbers(&reference["size"]);
    for case in reference["registration"].as_array().unwrap() {
        let (fixed, moving) = pictures(case, [size[0] as usize, size[1] as usize]);
        let found = register_warp(&fixed, &moving).unwrap();
        let truth = matrix(&case["truth_px"]);
        let off = |p: &[f64; 2]| {
            let (a, b) = (found.warp.apply(*p), mapped(&truth, *p));
            (a[0] - b[0]).hypot(a[1] - b[1])
        };
        let worst = warp::places([size[0], size[1]]).iter().map(off).fold(0.0, f64::max);
        let opencv = case["opencv_ecc_worst_px"].as_f64().unwrap();
        eprintln!("{}: worst {worst:.4} px, OpenCV's ECC {opencv:.4} px", case["name"]);
        assert_eq!(found.model.word(), case["name"].as_str().unwrap());
        // 0.05 px is the aim; the other library's own error comes on top of it nowhere.
        assert!(worst < 0.05, "{}: {worst}", case["name"]);
        if let Some(skimage) = case.get("scikit_image_phase_worst_px").and_then(Value::as_f64) {
            assert!(worst <= skimage, "{worst} against {skimage}");
        }
    }
}
