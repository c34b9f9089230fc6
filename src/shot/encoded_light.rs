//! A CG that is lit by a picture which holds no light: an environment in a display encoding, or cut off at display white.

use crate::compare::Comparison;
use crate::findings::remedy::Step;
use crate::findings::{Finding, Verdict};
use crate::image::crowd;
use crate::light::radiance::DirectionGrid;

use super::implausible::before_any_light;

/// Logarithms of both sides have to follow each other this closely, before their slope says something.
const LEAST_CORRELATION: f64 = 0.9;

/// A display encoding raises light to about 1/2.2; surroundings of which a part is dark or bright come near it (common practice, no source).
const ENCODED_SLOPE: std::ops::Range<f64> = 0.33..0.60;

/// A camera's own curve may flatten or steepen by a quarter, so that less is left to tell by.
const ENCODED_SLOPE_OF_CAMERA_FILE: std::ops::Range<f64> = 0.28..0.52;

/// Display white, and how near to it the CG's lights have to end.
const WHITE: std::ops::RangeInclusive<f32> = 0.97..=1.03;

/// The photograph shows light this much brighter than display white.
const BEYOND_WHITE: f32 = 1.2;

/// Names what the CG is lit by, before any advice on its lights.
pub(super) fn name_it(findings: &mut [Finding], pair: &Comparison) {
    if findings.iter().all(|f| f.verdict < Verdict::Unsure) {
        return;
    }
    if let Some(slope) = encoded_slope(pair) {
        before_any_light(findings, &Step::EncodedLight { slope }.into());
    } else if ends_at_white(pair) {
        before_any_light(findings, &Step::CutAtWhite.into());
    }
}

/// The slope of the CG's logarithm against the photograph's, where it is that of a display encoding.
fn encoded_slope(pair: &Comparison) -> Option<f64> {
    let (slope, correlation) = slope(pair)?;
    let range = if pair.mirror.trust.tone_curve { ENCODED_SLOPE_OF_CAMERA_FILE } else { ENCODED_SLOPE };
    (correlation >= LEAST_CORRELATION && range.contains(&slope)).then_some(slope)
}

/// Slope and correlation of base-2 logarithms over the directions that both show unclipped, lights included.
fn slope(pair: &Comparison) -> Option<(f64, f64)> {
    let grid = DirectionGrid::shared();
    let (ours, theirs) = (pair.mirror.image.map.compared(), pair.cg.image.map.compared());
    let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (cell, direction) in grid.directions.iter().enumerate() {
        let back = pair.rotation.as_ref().map_or(*direction, |r| r.back(direction));
        let source = if pair.rotation.is_some() { grid.cell(&back) } else { cell };
        let (Some(a), Some(b)) = (ours[cell], theirs[source]) else { continue };
        let shown = pair.mirror.is_inside_rim(direction) && pair.cg.is_inside_rim(&back);
        let whole = a.clipped < 0.01 && b.clipped < 0.01;
        if shown && whole && a.luminance > 0.0 && b.luminance > 0.0 {
            let (x, y) = (a.luminance.log2(), b.luminance.log2());
            (n, sx, sy) = (n + 1.0, sx + x, sy + y);
            (sxx, syy, sxy) = (sxx + x * x, syy + y * y, sxy + x * y);
        }
    }
    let (vx, vy, vxy) = (sxx - sx * sx / n, syy - sy * sy / n, sxy - sx * sy / n);
    (n > 200.0 && vx > 1e-9 && vy > 1e-9).then(|| ((vy / vx).sqrt(), vxy / (vx * vy).sqrt()))
}

/// The brightest of the CG crowds at display white, and the photograph shows more.
fn ends_at_white(pair: &Comparison) -> bool {
    let values: Vec<f32> = pair.cg.image.samples.iter().flatten().map(|s| s.luminance).collect();
    let brightest = pair.mirror.image.samples.iter().flatten().map(|s| s.luminance).fold(0.0, f32::max);
    brightest > BEYOND_WHITE
        && crowd(values).is_some_and(|spike| WHITE.contains(&spike.low) || WHITE.contains(&spike.high))
}
