use std::time::Instant;

use super::*;

/// Writes the sample pages where the variable names a folder, for looking at them.
#[test]
fn write_sample_pages() {
    let Ok(dir) = std::env::var("PLATEPROOF_WRITE_SAMPLES") else { return };
    let evidence = sample::mismatch();
    for _ in 0..3 {
        let start = Instant::now();
        let png = render_evidence(&evidence).unwrap();
        eprintln!("evidence page: {:.1} ms, {} bytes", start.elapsed().as_secs_f64() * 1e3, png.len());
    }
    std::fs::write(format!("{dir}/evidence.png"), render_evidence(&evidence).unwrap()).unwrap();
    let lines = ["outline by search, radius 151.2 px, field of view 40 deg assumed".to_owned()];
    let sphere = render_sphere_picture(&evidence.mirror, "sphere.1001.exr", &lines, 1.4).unwrap();
    std::fs::write(format!("{dir}/sphere.png"), sphere).unwrap();
}
