//! scratch
#![allow(missing_docs, unreachable_pub, clippy::all, clippy::pedantic, clippy::print_stdout)]
use super::{edgels, flat, plane, ring, votes};
use crate::{camera::View, image::Frame};
pub fn run(frame: &Frame, view: &View) {
    let t0 = std::time::Instant::now();
    let levels = plane::pyramid(frame, 24);
    let knee = plane::tone_knee(&levels[1.min(levels.len() - 1)], frame.eight_bit);
    println!("pyr {:?} knee {knee}", t0.elapsed());
    let mut maps = vec![];
    for l in &levels { maps.push(edgels::edgels(l, view, knee)); }
    println!("edgels {:?} {:?}", t0.elapsed(), maps.iter().map(|m| m.edgels.len()).collect::<Vec<_>>());
    let mut all = vec![];
    let mut n = 0;
    for (i, m) in maps.iter().enumerate() {
        let c = votes::candidates(m);
        n += c.len();
        for c in c {
            if c.prominence < 6.0 { continue }
            for s in ring::circles_near(m, view, &c.circle, ring::Reach { centre_samples: 4.5, radius_fraction: 0.18 }) {
                all.push((i, c, s));
            }
        }
    }
    println!("verify {:?} cands {n}", t0.elapsed());
    all.sort_by(|a, b| b.2.evidence.total_cmp(&a.2.evidence));
    for (i, c, s) in all.iter().take(12) {
        let p = flat::to_frame(view, [s.circle.x, s.circle.y]).unwrap();
        println!("L{} prom {:.1} ev {:.1} cov {:.2}  ({:.1},{:.1}) r {:.1}", i + 1, c.prominence, s.evidence, s.coverage, p[0], p[1], s.circle.radius);
    }

    let mut done: Vec<flat::Circle> = vec![];
    for (_, c, s) in all.iter() {
        if done.iter().any(|d| d.distance(&s.circle) + (d.radius - s.circle.radius).abs() < 0.05 * s.circle.radius) { continue }
        if done.len() >= 8 { break }
        done.push(s.circle);
        let Some(cone) = flat::cone_of_circle(view, &s.circle) else { continue };
        let aim = super::consensus::Aim { view: view.clone(), cone };
        let t = std::time::Instant::now();
        match super::refine::refine(frame, &levels, &aim, 40.0) {
            Some(f) => {
                let o = crate::sphere::outline_of_cone(&f.aim.view, &f.aim.cone).unwrap();
                println!("  from r {:.0}: ({:.2},{:.2}) {:.2} {:.2} @{:.0}  edge_sd {:.3} supp {:.2} gap {:.2} gain {:.1} blur {:.2} sd {:.4} {:?}  prom {:.1} ev {:.0} cov {:.2} {:?}", s.circle.radius, o.centre_x, o.centre_y, o.semi_a, o.semi_b, o.angle_deg, f.edge_sd_px, f.support, f.longest_gap, f.gain, f.blur, f.covariance[(2,2)].sqrt()*view.focal_px, t.elapsed(), c.prominence, s.evidence, s.coverage, {let c=flat::circle_of_cone(view,&f.aim.cone);let l=levels.iter().rev().find(|l|c.radius/l.scale>=30.0).unwrap_or(&levels[0]);super::interior::interior(l,view,&c,knee)});
            }
            None => println!("  from r {:.0}: none", s.circle.radius),
        }
    }
}
pub fn levels(frame: &Frame, view: &View, c: [f64; 3]) {
    let levels = plane::pyramid(frame, 24);
    let o = crate::sphere::Outline::circle(c[0], c[1], c[2]);
    let cone = crate::sphere::cone_of_outline(view, &o).unwrap();
    let aim = super::consensus::Aim { view: View { source: crate::camera::FovSource::Sheet, ..view.clone() }, cone };
    let show = |name: String, f: Option<super::consensus::Consensus>| if let Some(f) = f {
        let o = crate::sphere::outline_of_cone(&f.aim.view, &f.aim.cone).unwrap();
        println!("  {name}: dc ({:+.2},{:+.2}) dr {:+.2}   edge_sd {:.3} supp {:.2} gap {:.2} gain {:.1} sd {:.4} blur {:.2}", o.centre_x - c[0], o.centre_y - c[1], o.semi_a - c[2], f.edge_sd_px, f.support, f.longest_gap, f.gain, f.covariance[(2,2)].sqrt()*view.focal_px, f.blur);
    };
    for l in levels.iter().rev() { show(format!("scale {}", l.scale), super::refine::fit_once(&super::refine::Shown { source: l, encoded: frame.eight_bit }, &aim, 3.0)); }
    show("frame".into(), super::refine::fit_once(&super::refine::Shown { source: frame, encoded: frame.eight_bit }, &aim, 3.0));
}
