//! scratch
#![allow(missing_docs, unreachable_pub, clippy::all, clippy::pedantic, clippy::print_stdout)]
use super::{flat, plane};
use crate::{camera::View, image::Frame};
pub fn run(frame: &Frame, view: &View) {
    let t0 = std::time::Instant::now();
    let p = super::search::Prepared::new(frame, view);
    let t1 = t0.elapsed();
    let c = p.circles();
    let t2 = t0.elapsed();
    for s in c.iter().take(10) {
        let q = flat::to_frame(view, [s.circle.x, s.circle.y]).unwrap();
        println!("  ({:.1},{:.1}) r {:.1} ev {:.1} cov {:.2}", q[0], q[1], s.circle.radius, s.evidence, s.coverage);
    }
    let f = p.findings();
    println!("prep {t1:?} circles {t2:?} findings {:?}", t0.elapsed() - t2);
    for f in f {
        let c = &f.consensus;
        let o = crate::sphere::outline_of_cone(&c.aim.view, &c.aim.cone).unwrap();
        let i = f.interior;
        println!("  ({:.2},{:.2}) {:.2} {:.2}  EV {:.0} ev {:.0} cov {:.2} | supp {:.2} gap {:.2} gain {:.1} sd {:.2} blur {:.2} | detail {:.2} sq {:.1} in {:.1} conc {:.2}", o.centre_x, o.centre_y, o.semi_a, o.semi_b, c.evidence, f.supported.evidence, f.supported.coverage, c.support, c.longest_gap, c.gain, c.edge_sd_px, c.blur, i.detail, i.squeeze, i.inner_squeeze, i.concentric);
    }
}
pub fn levels(frame: &Frame, view: &View, c: [f64; 3]) { levels_of(frame, view, crate::sphere::Outline::circle(c[0], c[1], c[2])) }
pub fn levels_of(frame: &Frame, view: &View, o: crate::sphere::Outline) {
    let levels = plane::pyramid(frame, 24);
    let c = [o.centre_x, o.centre_y, o.semi_a];
    let cone = crate::sphere::cone_of_outline(view, &o).unwrap();
    let aim = super::consensus::Aim { view: View { source: crate::camera::FovSource::Sheet, ..view.clone() }, cone };
    let show = |name: String, f: Option<super::consensus::Consensus>| if let Some(f) = f {
        let o = crate::sphere::outline_of_cone(&f.aim.view, &f.aim.cone).unwrap();
        println!("  {name}: EV {:.1} supp: dc ({:+.2},{:+.2}) dr {:+.2}   edge_sd {:.3} supp {:.2} gap {:.2} gain {:.1} sd {:.4} blur {:.2}", f.evidence, o.centre_x - c[0], o.centre_y - c[1], o.semi_a - c[2], f.edge_sd_px, f.support, f.longest_gap, f.gain, f.covariance[(2,2)].sqrt()*view.focal_px, f.blur);
    };
    for l in levels.iter().rev() { show(format!("scale {}", l.scale), super::refine::fit_once(&super::refine::Shown { source: l, encoded: frame.eight_bit }, &aim, 3.0)); }
    show("frame".into(), super::refine::fit_once(&super::refine::Shown { source: frame, encoded: frame.eight_bit }, &aim, 3.0));
}
pub fn contours(frame: &Frame, view: &View) {
    let p = super::search::Prepared::new(frame, view);
    let t = std::time::Instant::now();
    for s in p.circles().iter().take(8) {
        let Some(cone) = super::flat::cone_of_circle(view, &s.circle) else { continue };
        let Some(start) = crate::sphere::outline_of_cone(view, &cone) else { continue };
        if let Some(c) = super::contour::contour(frame, view, &start) {
            println!("   CONTOUR from r {:.1} ev {:.1}: {:.2?} sd {:.2} {:.2} support {:.2} contrast {:.2} scatter {:.2}", s.circle.radius, s.evidence, c.fit.outline.to_array(), c.fit.outline_cov[(0,0)].sqrt(), c.fit.outline_cov[(2,2)].sqrt(), c.support, c.contrast, c.fit.edge_sd_px);
        }
    }
    println!("   contours {:?}", t.elapsed());
}
