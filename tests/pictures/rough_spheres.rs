//! Rough mirror spheres of known roughness, path-traced by others: `golden/rough_spheres/README.md`.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "a failed test shows all that was measured")]

use std::path::Path;
use std::sync::LazyLock;

use plateproof::CaptureTime;
use plateproof::base::sun::sun_position;
use plateproof::findings::{Report, SphereRole, Verdict};
use plateproof::sheet::{load_sheet, sheet_from_json};
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::direction_of_deg;
use serde_json::json;

/// Every golden shot, checked once.
static REPORTS: LazyLock<Vec<(&str, Report)>> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rough_spheres");
    let check = |name| {
        let sheet = load_sheet(&folder.join(format!("{name}.json"))).expect("the golden sheets are sound");
        (name, check_shot(&sheet, RunOptions::default()).report)
    };
    ["alpha_000", "alpha_002", "alpha_005", "alpha_010", "broad_key"].map(check).into()
});

fn check(name: &str) -> &'static Report {
    &REPORTS.iter().find(|(of, _)| *of == name).unwrap().1
}

/// Blur of the photographed sphere with its sd, degrees.
fn blur(report: &Report) -> Option<(f64, f64)> {
    let sphere = report.spheres.iter().find(|s| s.role == SphereRole::Mirror).expect("a mirror sphere");
    sphere.surface_blur_deg.zip(sphere.surface_blur_deg_sd)
}

fn print(name: &str, report: &Report) {
    println!("{name}: blur {:?}", blur(report));
    for sphere in &report.spheres {
        for light in &sphere.lights {
            println!(
                "  {:?} azimuth {:.1} elevation {:.1} radius {:?} +/- {:?} {:?} share {:.3} +/- {:.3}",
                sphere.role,
                light.azimuth_deg,
                light.elevation_deg,
                light.angular_radius_deg,
                light.angular_radius_deg_sd,
                light.angular_radius_reason,
                light.share,
                light.share_sd
            );
        }
    }
    for f in &report.findings {
        println!("  {} {:?} {:?} +/- {:?} {}", f.check, f.verdict, f.value, f.value_sd, f.reason);
    }
    println!("  {:?}", report.warnings);
}

/// A mirrored ray turns by twice the slope, and GGX slopes are below alpha for half of the surface (Walter et al. 2007,
/// equation 33): half of a point's light falls within 2 alpha.
#[test]
fn blur_is_twice_alpha() {
    for (name, alpha) in [("alpha_002", 0.02_f64), ("alpha_005", 0.05), ("alpha_010", 0.10)] {
        let report = check(name);
        print(name, report);
        let truth = (2.0 * alpha).to_degrees();
        let Some((blur, sd)) = blur(report) else { panic!("{name}: no blur found, {truth:.2} deg are there") };
        assert!((blur - truth).abs() < 2.0 * sd, "{name}: {blur:.2} +/- {sd:.2} for {truth:.2}");
        assert!(sd < 0.3 * truth, "{name}: says too little: {blur:.2} +/- {sd:.2}");
        assert!(report.warnings.iter().any(|w| w.contains("blurs by")), "{:?}", report.warnings);
    }
}

#[test]
fn a_clear_sphere_and_a_broader_lamp_are_not_blur() {
    for name in ["alpha_000", "broad_key"] {
        let report = check(name);
        print(name, report);
        assert_eq!(blur(report), None, "{name}");
        assert!(report.warnings.iter().all(|w| !w.contains("blurs by")), "{:?}", report.warnings);
    }
}

/// The key alone counts, and stands where the sun does by place, time and heading where these are noted.
fn check_in_sun(name: &str, noted: bool) -> Report {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rough_spheres");
    let text = std::fs::read_to_string(golden.join(format!("{name}.json"))).unwrap();
    let mut sheet: serde_json::Value = serde_json::from_str(&text).unwrap();
    let key = direction_of_deg(-48.0, 32.0);
    sheet["mirrors"][0]["ignore"] = json!([
        { "what": "kick", "azimuth_deg": 75, "elevation_deg": 12, "radius_deg": 30 },
        { "what": "lantern", "azimuth_deg": 8, "elevation_deg": -30, "radius_deg": 25 },
    ]);
    if noted {
        let (latitude_deg, longitude_deg) = (54.3, 10.1);
        let at = |minute: i32| format!("2026-06-21T{:02}:{:02}:00Z", minute / 60, minute % 60);
        let sun = |minute: i32| {
            let julian_date = CaptureTime::parse(&at(minute)).unwrap().julian_date().unwrap();
            sun_position(julian_date, latitude_deg, longitude_deg)
        };
        let off = |minute: &i32| (sun(*minute).elevation_deg - 32.0).abs();
        let minute = (240..700).step_by(5).min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
        let from_view_deg = key.x.atan2(-key.z).to_degrees();
        sheet["location"] = json!({ "latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "time": at(minute) });
        sheet["camera"]["heading_deg"] = json!((sun(minute).bearing_deg - from_view_deg).rem_euclid(360.0));
    }
    check_shot(&sheet_from_json(sheet, &golden.join("sun.json"), &golden).unwrap(), RunOptions::default()).report
}

/// Of one light nobody knows how large it was, but of the sun.
#[test]
fn the_sun_alone_tells_of_blur() {
    for (name, alpha) in [("alpha_002", 0.02_f64), ("alpha_005", 0.05), ("alpha_010", 0.10)] {
        let unknown = check_in_sun(name, false);
        assert_eq!(blur(&unknown), None, "{name}: a lamp of unknown size");
        let report = check_in_sun(name, true);
        print(name, &report);
        let truth = (2.0 * alpha).to_degrees();
        let Some((blur, sd)) = blur(&report) else { panic!("{name}: no blur found, {truth:.2} deg are there") };
        assert!((blur - truth).abs() < 2.0 * sd, "{name}: {blur:.2} +/- {sd:.2} for {truth:.2}");
        assert!(sd < 0.3 * truth, "{name}: says too little: {blur:.2} +/- {sd:.2}");
    }
    for name in ["alpha_000", "broad_key"] {
        let report = check_in_sun(name, true);
        print(name, &report);
        assert_eq!(blur(&report), None, "{name}");
    }
}

/// The CG has the right light in every one of them.
#[test]
fn blur_alone_is_no_mismatch() {
    for name in ["alpha_000", "alpha_002", "alpha_005", "alpha_010"] {
        let report = check(name);
        for finding in &report.findings {
            assert_ne!(finding.verdict, Verdict::Mismatch, "{name} {}: {}", finding.check, finding.reason);
            // The truth is no error at all; what is measured lies within three sd of it.
            let (Some(value), Some(sd)) = (finding.value, finding.value_sd) else { continue };
            assert!(value.abs() <= 3.0 * sd, "{name} {}: {value} +/- {sd}", finding.check);
        }
    }
}

/// Lights on the blurred spheres are as large as the CG's, within what is said, or their size is not given.
#[test]
fn sizes_are_freed_of_the_blur() {
    for name in ["alpha_002", "alpha_005", "alpha_010"] {
        let report = check(name);
        let lights = |role| report.spheres.iter().filter(move |s| s.role == role).flat_map(|s| &s.lights);
        for light in lights(SphereRole::Mirror) {
            let near = |other: &&plateproof::findings::LightReport| {
                (other.azimuth_deg - light.azimuth_deg).abs() + (other.elevation_deg - light.elevation_deg).abs() < 6.0
            };
            let Some(truth) = lights(SphereRole::Cg).find(near).and_then(|l| l.angular_radius_deg) else { continue };
            let Some(size) = light.angular_radius_deg.zip(light.angular_radius_deg_sd) else { continue };
            assert!((size.0 - truth).abs() < 2.5 * size.1, "{name}: {size:?} for {truth:.2}");
        }
    }
}

/// A clear sphere out of focus: blur of one size in pixels, which its rim shares.
#[test]
fn defocus_is_not_blur_of_the_surface() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rough_spheres");
    for sigma_px in [0.8, 1.6] {
        let temporary = tempfile::tempdir().unwrap();
        for name in ["plate.exr", "cg.exr", "alpha_000.json"] {
            std::fs::copy(folder.join(name), temporary.path().join(name)).unwrap();
        }
        let name = "mirror_alpha_000.exr";
        defocused(&folder.join(name), &temporary.path().join(name), sigma_px);
        let sheet = load_sheet(&temporary.path().join("alpha_000.json")).unwrap();
        let report = check_shot(&sheet, RunOptions::default()).report;
        print("defocused", &report);
        assert!(report.spheres.iter().any(|s| s.role == SphereRole::Mirror), "no sphere at {sigma_px} px");
        assert_eq!(blur(&report), None, "{sigma_px} px");
    }
}

/// The picture convolved with a normal distribution.
fn defocused(from: &Path, to: &Path, sigma_px: f64) {
    use exr::prelude::{read_first_rgba_layer_from_file, write_rgb_file};
    let image = read_first_rgba_layer_from_file(
        from,
        |size, _| (size.width(), vec![[0.0_f32; 3]; size.area()]),
        |(width, pixels), place, (r, g, b, _): (f32, f32, f32, f32)| {
            pixels[place.y() * *width + place.x()] = [r, g, b];
        },
    )
    .unwrap();
    let (width, pixels) = image.layer_data.channel_data.pixels;
    let height = pixels.len() / width;
    let reach = (4.0 * sigma_px).ceil() as i64;
    let weight = |offset: i64| (-0.5 * (offset as f64 / sigma_px).powi(2)).exp();
    let total: f64 = (-reach..=reach).map(weight).sum();
    let pass = |pixels: &[[f32; 3]], along: [i64; 2]| -> Vec<[f32; 3]> {
        let blurred = |i: usize| {
            let (x, y) = ((i % width) as i64, (i / width) as i64);
            let mut sum = [0.0; 3];
            for offset in -reach..=reach {
                let x = (x + offset * along[0]).clamp(0, width as i64 - 1) as usize;
                let y = (y + offset * along[1]).clamp(0, height as i64 - 1) as usize;
                for (sum, value) in sum.iter_mut().zip(pixels[y * width + x]) {
                    *sum += weight(offset) / total * f64::from(value);
                }
            }
            sum.map(|s| s as f32)
        };
        (0..pixels.len()).map(blurred).collect()
    };
    let blurred = pass(&pass(&pixels, [1, 0]), [0, 1]);
    write_rgb_file(to, width, height, |x, y| {
        let [r, g, b] = blurred[y * width + x];
        (r, g, b)
    })
    .unwrap();
}
