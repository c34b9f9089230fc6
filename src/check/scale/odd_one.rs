//! Which of several notes is the odd one out.

use super::gauge::Gauge;
use crate::base::units::Estimate;
use crate::findings::Remedy;
use crate::findings::remedy::{Ask, LensThatFits, OddGauge, Step};

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
pub(super) fn odd_one_out(gauges: &[&Gauge], tolerance: f64) -> Remedy {
    let ratios: Vec<(&Gauge, Estimate)> = gauges.iter().filter_map(|g| Some((*g, g.log_ratio()?))).collect();
    let [(only, ratio)] = ratios.as_slice() else { return of_several(&ratios, tolerance) };
    let (name, size) = (only.name.clone(), only.size_words());
    let told_by = only.distance_by();
    Step::OneGauge { name, size, told_by, slip: slip(ratio.value), lens: lens_that_fits(only) }.into()
}

fn of_several(ratios: &[(&Gauge, Estimate)], tolerance: f64) -> Remedy {
    let group = agreeing(ratios);
    let common = group.iter().map(|i| ratios[*i].1.value).sum::<f64>() / group.len().max(1) as f64;
    let lens_off = group.len() > 1 && common.abs() > tolerance;
    let fits = common.abs() <= tolerance;
    if group.len() < 2 && (!fits || ratios.len() < 2) {
        return Ask::MeasureAgain.into();
    }
    let mut said = Remedy::default();
    if lens_off && let Some(first) = group.first() {
        said.add(Step::OddLens {
            gauges: group.iter().map(|i| ratios[*i].0.name.clone()).collect(),
            deviation_percent: 100.0 * common.exp_m1(),
            lens: lens_that_fits(ratios[*first].0),
        });
    }
    let base = if lens_off { common } else { 0.0 };
    for (_, (gauge, ratio)) in ratios.iter().enumerate().filter(|(i, _)| !group.contains(i)) {
        // What nobody noted has no ratio either.
        let Some(noted_mm) = gauge.noted_mm else { continue };
        let off = (ratio.value - base).exp();
        said.add(Step::OddGauge(OddGauge {
            name: gauge.name.clone(),
            size: gauge.size_name(),
            size_mm: [gauge.size_mm, gauge.size_mm / off],
            told_by: gauge.distance_by(),
            distance_mm: [noted_mm, noted_mm * off],
            slip: slip(ratio.value - base),
        }));
    }
    if said.is_empty() { Ask::NoOddGauge.into() } else { said }
}

/// The largest group that agrees; of equal ones the one that fits best.
fn agreeing(ratios: &[(&Gauge, Estimate)]) -> Vec<usize> {
    let near = |a: Estimate, b: Estimate| (a.value - b.value).abs() <= 2.0 * a.sd.hypot(b.sd) + SLACK;
    let group = |i: usize| (0..ratios.len()).filter(|j| near(ratios[i].1, ratios[*j].1)).collect::<Vec<_>>();
    let groups = (0..ratios.len()).map(|i| (group(i), ratios[i].1.value.abs()));
    groups.max_by(|a, b| a.0.len().cmp(&b.0.len()).then(b.1.total_cmp(&a.1))).map_or_else(Vec::new, |(group, _)| group)
}

fn slip(log_ratio: f64) -> Option<&'static str> {
    let ratio = log_ratio.exp();
    let known = SLIPS.iter().find(|(expected, _)| (ratio / expected - 1.0).abs() < SLIP_SLACK);
    known.map(|(_, words)| *words)
}

/// The field of view under which a gauge's notes would hold.
fn lens_that_fits(gauge: &Gauge) -> Option<LensThatFits> {
    let view = gauge.fitting_view()?;
    let longer_percent = 100.0 * (view.focal_px / gauge.view.focal_px - 1.0);
    Some(LensThatFits { fov_deg: view.horizontal_fov_deg(), longer_percent })
}
