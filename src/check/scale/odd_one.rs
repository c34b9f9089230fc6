//! Which of several notes is the odd one out.

use super::gauge::Gauge;
use crate::base::units::Estimate;

/// Gauges agree within two standard deviations and this much.
const SLACK: f64 = 0.01;

/// Picture over note for slips that happen, and what happened.
const SLIPS: [(f64, &str); 8] = [
    (0.5, "half of what fits: a radius noted as the diameter?"),
    (2.0, "twice what fits: a diameter noted as the radius?"),
    (0.3048, "as if feet were noted as metres"),
    (3.2808, "as if metres were noted as feet"),
    (0.3937, "as if inches were noted as centimetres"),
    (2.54, "as if centimetres were noted as inches"),
    (0.1, "off by a factor of ten"),
    (10.0, "off by a factor of ten"),
];

/// A slip explains a ratio within this, relative.
const SLIP_SLACK: f64 = 0.06;

/// What is most likely wrong, and what to do. `tolerance` is a fraction of the distance.
pub(super) fn told(gauges: &[&Gauge], tolerance: f64) -> String {
    let ratios: Vec<(&Gauge, Estimate)> = gauges.iter().filter_map(|g| Some((*g, g.log_ratio()?))).collect();
    let [(only, ratio)] = ratios.as_slice() else { return of_several(&ratios, tolerance) };
    let which = format!(
        "its {}, the noted distance or the focal length is wrong{}; one object alone does not show which: measure \
         another and its distance",
        only.size_words(),
        slip(ratio.value)
    );
    format!("{}: {which}{}", only.name, lens_that_fits(only))
}

fn of_several(ratios: &[(&Gauge, Estimate)], tolerance: f64) -> String {
    let group = agreeing(ratios);
    let common = group.iter().map(|i| ratios[*i].1.value).sum::<f64>() / group.len().max(1) as f64;
    let lens_off = group.len() > 1 && common.abs() > tolerance;
    let fits = common.abs() <= tolerance;
    if group.len() < 2 && (!fits || ratios.len() < 2) {
        return "the notes contradict each other and none fits the picture: measure again".to_owned();
    }
    let mut said = Vec::new();
    if lens_off && let Some(first) = group.first() {
        said.push(format!(
            "the odd one out is the focal length or the sensor: {} all deviate by {:+.1} %{}",
            names(ratios, &group),
            100.0 * common.exp_m1(),
            lens_that_fits(ratios[*first].0)
        ));
    }
    let base = if lens_off { common } else { 0.0 };
    for (_, (gauge, ratio)) in ratios.iter().enumerate().filter(|(i, _)| !group.contains(i)) {
        said.push(format!(
            "the odd one out is {}: its {} or its distance is wrong by {:.1} %{}",
            gauge.name,
            gauge.size_words(),
            100.0 * (ratio.value - base).exp_m1().abs(),
            slip(ratio.value - base)
        ));
    }
    if said.is_empty() {
        return "the notes agree with each other; the deviation is too close to the tolerance to blame a single one"
            .to_owned();
    }
    said.join("; ")
}

/// The largest group that agrees; of equal ones the one that fits best.
fn agreeing(ratios: &[(&Gauge, Estimate)]) -> Vec<usize> {
    let near = |a: Estimate, b: Estimate| (a.value - b.value).abs() <= 2.0 * a.sd.hypot(b.sd) + SLACK;
    let group = |i: usize| (0..ratios.len()).filter(|j| near(ratios[i].1, ratios[*j].1)).collect::<Vec<_>>();
    let groups = (0..ratios.len()).map(|i| (group(i), ratios[i].1.value.abs()));
    groups.max_by(|a, b| a.0.len().cmp(&b.0.len()).then(b.1.total_cmp(&a.1))).map_or_else(Vec::new, |(group, _)| group)
}

fn names(ratios: &[(&Gauge, Estimate)], group: &[usize]) -> String {
    group.iter().map(|i| ratios[*i].0.name.as_str()).collect::<Vec<_>>().join(" and ")
}

fn slip(log_ratio: f64) -> String {
    let ratio = log_ratio.exp();
    let known = SLIPS.iter().find(|(expected, _)| (ratio / expected - 1.0).abs() < SLIP_SLACK);
    known.map_or_else(String::new, |(_, words)| format!(" ({words})"))
}

/// The field of view under which a gauge's notes would hold.
fn lens_that_fits(gauge: &Gauge) -> String {
    let Some(view) = gauge.fitting_view() else { return String::new() };
    let focal = 100.0 * (view.focal_px / gauge.view.focal_px - 1.0);
    format!(
        "; the notes would fit {:.1} deg horizontal, a focal length {:.1} % {}",
        view.horizontal_fov_deg(),
        focal.abs(),
        if focal > 0.0 { "longer" } else { "shorter" }
    )
}
