use plateproof::sheet::load_sheet;
use plateproof::shot::*;
fn main() {
    let root = std::env::args().nth(1).unwrap();
    let given = std::env::args().nth(2).is_some();
    let mut dirs: Vec<_> = std::fs::read_dir(root)
        .unwrap()
        .filter_map(|d| d.ok())
        .map(|d| d.path())
        .filter(|p| p.join("truth.json").exists())
        .collect();
    dirs.sort();
    for d in dirs {
        let mut sheet = match load_sheet(&d.join("shot.json")) {
            Ok(s) => s,
            Err(e) => {
                println!("{e}");
                continue;
            }
        };
        let truth: serde_json::Value =
            serde_json::from_str(&std::fs::read_to_string(d.join("truth.json")).unwrap()).unwrap();
        if given {
            let f = |v: &serde_json::Value| {
                v.as_array().map(|a| a.iter().map(|x| x.as_f64().unwrap()).collect::<Vec<f64>>())
            };
            sheet.mirrors[0].outline_px = f(&truth["mirror"]["outline_px"]);
            sheet.cg.spheres[0].outline_px = f(&truth["cg"]["outline_px"]);
        }
        let t = std::time::Instant::now();
        let out = check_shot(&sheet, &RunOptions::default());
        println!(
            "=== {} {:?} {:.0} ms {:?}",
            sheet.shot,
            out.report.verdict,
            t.elapsed().as_secs_f64() * 1e3,
            out.report.error
        );
        for s in &out.report.spheres {
            println!(
                "  {:?} outline {:.2?} kf {:?} sd {:?} clip {:.4}",
                s.role, s.outline_px, s.key_fill_stops, s.key_fill_stops_sd, s.clipped_fraction
            );
            for l in &s.lights {
                println!(
                    "     az {:.2} el {:.2} sd {:.2} r {:?} E {:.4}±{:.4} share {:.3}±{:.3} clip {}",
                    l.azimuth_deg,
                    l.elevation_deg,
                    l.direction_sd_deg,
                    l.angular_radius_deg,
                    l.illuminance,
                    l.illuminance_sd,
                    l.share,
                    l.share_sd,
                    l.clipped
                );
            }
        }
        for f in &out.report.findings {
            println!(
                "  {:20} {:?} {:?} ± {:?} tol {} | {} | {}",
                f.check, f.verdict, f.value, f.value_sd, f.tolerance, f.reason, f.remedy
            );
        }
        println!("  TRUTH errors {}", truth["errors"]);
        println!("  TRUTH mirror {} ", truth["mirror"]);
        println!("  TRUTH cg {} ", truth["cg"]);
    }
}
