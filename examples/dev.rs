use plateproof::sheet::ImageSpec;
use plateproof::shot::*;
use plateproof::sphere::{Outline, angle_between_rad, direction_of_deg};
fn main() {
    let d = "/work/shared/data/psbox_probe1/";
    let circle: Vec<f64> = std::fs::read_to_string(format!("{d}circle_data.txt"))
        .unwrap()
        .split_whitespace()
        .map(|v| v.parse().unwrap())
        .collect();
    let l: Vec<Vec<f64>> = std::fs::read_to_string(format!("{d}light_directions.txt"))
        .unwrap()
        .lines()
        .map(|r| r.split_whitespace().map(|v| v.parse().unwrap()).collect())
        .collect();
    let o = Outline::circle(circle[0] - 0.5, 1001.0 - circle[1] - 0.5, circle[2]);
    let t = std::time::Instant::now();
    for k in 1..=13 {
        let name = if k == 13 { format!("{d}ref.JPG") } else { format!("{d}Image_{k:02}.JPG") };
        let q = SphereQuery {
            image: ImageSpec::of_frame(name),
            outline: if std::env::args().nth(1).is_some() { Some(o) } else { None },
            ..Default::default()
        };
        let r = measure_sphere(&q);
        if let Some(e) = r.error {
            println!("{k} {e:?}");
            continue;
        }
        if !r.candidates.is_empty() {
            println!("{k} RIVALS {:?}", r.candidates);
            continue;
        }
        let s = r.sphere.unwrap();
        println!(
            "{k} outline {:.2?} d {:.2} {:.2} {:.2}  sd {:.2?}",
            s.outline_px,
            s.outline_px[0] - o.centre_x,
            s.outline_px[1] - o.centre_y,
            (s.outline_px[2] * s.outline_px[3]).sqrt() - o.semi_a,
            s.outline_px_sd
        );
        for (i, x) in s.lights.iter().enumerate() {
            let err = if k < 13 && i == 0 {
                let v = nalgebra::Vector3::new(l[0][k - 1], l[1][k - 1], l[2][k - 1]);
                angle_between_rad(&v, &direction_of_deg(x.azimuth_deg, x.elevation_deg)).to_degrees()
            } else {
                0.0
            };
            println!(
                "{k} az {:.1} el {:.1} sd {:.2} r {:?} {:?} E {:.3} share {:.3}±{:.3} clip {} cct {:?} err {err:.2}",
                x.azimuth_deg,
                x.elevation_deg,
                x.direction_sd_deg,
                x.angular_radius_deg,
                x.angular_radius_reason,
                x.illuminance,
                x.share,
                x.share_sd,
                x.clipped,
                x.cct_kelvin
            );
        }
        println!("   kf {:?} ± {:?}  clipped {:.4}", s.key_fill_stops, s.key_fill_stops_sd, s.clipped_fraction);
    }
    println!("{:?}", t.elapsed());
}
