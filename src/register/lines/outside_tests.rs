//! The same checkerboards as OpenCV was given (`golden/frames`), without its foreknowledge of focal length and pose.

#![allow(clippy::print_stderr, reason = "shows the measured errors with --nocapture")]

use serde_json::Value;

use super::*;
use crate::register::test_scene::frame;

fn reference() -> Value {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/frames/reference.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn checkerboard(case: &Value, size: [usize; 2]) -> Frame {
    let number = |key: &str| case[key].as_f64().unwrap();
    let rows: Vec<f64> = case["straight_to_board"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|row| row.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()))
        .collect();
    let to_board = nalgebra::Matrix3::from_row_slice(&rows);
    let lens = Distortion { k1: number("k1"), k2: number("k2"), ..Distortion::none(size.map(|s| s as f64)) };
    let pitch = number("pitch");
    let edge = |c: f64| ((((c / pitch).rem_euclid(2.0) - 1.0).abs() - 0.5) * pitch / 0.9).tanh();
    frame(size, |x, y| {
        let [u, v] = lens.straightened([x, y]);
        let board = to_board * nalgebra::Vector3::new(u, v, 1.0);
        [0.3 + 0.25 * edge(board.x / board.z) * edge(board.y / board.z); 3]
    })
}

#[test]
fn corner_pull_agrees_with_the_truth_and_with_opencv() {
    let reference = reference();
    let size = [0, 1].map(|i| reference["grid_size"][i].as_u64().unwrap() as usize);
    for case in reference["distortion"].as_array().unwrap() {
        let number = |key: &str| case[key].as_f64().unwrap();
        let (truth, opencv) = (number("truth_corner_pull_px"), number("opencv_corner_pull_px"));
        let fit = fit_lens(&long_edges(&checkerboard(case, size)), size.map(|s| s as f64)).unwrap();
        eprintln!(
            "truth {truth:.2} px, OpenCV {opencv:.2} px, here {:.2} ± {:.2} px; residual {:.3} px on {} edges",
            fit.pull_px.value, fit.pull_px.sd, fit.residual_px, fit.edges
        );
        assert!((fit.pull_px.value - truth).abs() < 0.5, "{:?}", fit.pull_px);
        assert!((fit.pull_px.value - opencv).abs() < 0.5 + (opencv - truth).abs(), "{:?}", fit.pull_px);
        assert!((fit.pull_px.value - truth).abs() < 4.0 * fit.pull_px.sd.max(0.02), "{:?}", fit.pull_px);
    }
}
