//! What the evidence picture shows, gathered from a measured pair.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector3};

use super::pair::Pair;
use crate::Result;
use crate::base::parallel;
use crate::base::units::Stops;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::{CheckId, Concerns, Finding, Naming, Report, Verdict};
use crate::image::Frame;
use crate::light::lights::Light;
use crate::light::radiance::{DirectionGrid, Smoothed, patch_rgb};
use crate::report::amiss::finding_words;
use crate::report::glance::{Glance, set_problem_words};
use crate::report::picture::{
    Evidence, EvidenceSide, FindingLine, GhostMark, LightMark, LinearPicture, LinearPictureGrey, ShownSphere,
    render_evidence, render_sphere_picture,
};
use crate::report::wording::is_set_problem;
use crate::sphere::{azimuth_elevation_deg, direction_of_deg, tangents};

/// Columns of the unwrapped pictures; rows are half of it.
const UNWRAPPED_COLUMNS: usize = 440;

/// Columns of the difference map, which holds nothing finer than the comparison's blur.
const DIFFERENCE_COLUMNS: usize = 180;

/// SphereMeasurement of the predicted grey sphere, px: twice that at which the page draws it, which gives it a soft edge.
const MATTE_PX: usize = 428;

/// Reflectance of the predicted grey sphere.
const MATTE_REFLECTANCE: f64 = 0.5;

/// The crop reaches this many radii from the sphere's centre.
const CROP_RADII: f64 = 1.25;

/// Pixels of the CG that are covered less are left out of the crop.
const LEAST_COVERAGE: f32 = 0.5;

/// The crop is averaged down to at most this many px a side.
const CROP_PX: usize = 520;

/// The picture of one of the pairs as PNG bytes; of the others it shows the spheres alone.
pub(super) fn picture(
    pairs: &[Pair],
    main: usize,
    report: &Report,
    of_frame: Option<u32>,
    from_inside: bool,
) -> Result<Option<Vec<u8>>> {
    let Some(pair) = pairs.get(main) else { return Ok(None) };
    let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
    let (ours, theirs) = (&pair.mirror_from_stored, &pair.cg_from_stored);
    let (mirror_side, cg_side) = parallel::both(
        || evidence_side(mirror, &pair.mirror_frame, ours, format!("photographed: {}", mirror.name)),
        || evidence_side(cg, &pair.cg_frame, theirs, "CG".to_owned()),
    );
    let cg_sphere = ShownSphere { ghosts: ghosts(pair, report), ..cg_side.sphere };
    let others = pairs.iter().enumerate().filter(|(index, _)| *index != main);
    let evidence = Evidence {
        shot: report.shot.clone(),
        version: report.version.clone(),
        verdict: report.verdict,
        headline: of_frame
            .map(|frame| format!("frame {frame}"))
            .into_iter()
            .chain(Glance::of(report).labelled_lines())
            .collect(),
        set_badge: set_problem_words(report),
        from_inside,
        findings: finding_lines(report),
        mirror: mirror_side,
        cg: EvidenceSide { sphere: cg_sphere, ..cg_side },
        others: others.map(|(_, pair)| both_spheres(pair, report)).collect(),
        difference_stops: difference(mirror, pair.comparison.cg_on_equal_terms()),
        exposure: display_gain(mirror),
    };
    render_evidence(&evidence).map(Some)
}

/// The photographed and the rendered sphere of a pair.
fn both_spheres(pair: &Pair, report: &Report) -> [ShownSphere; 2] {
    let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
    let rendered = shown_sphere(cg, &pair.cg_frame, &pair.cg_from_stored, format!("CG for {}", mirror.name));
    [
        shown_sphere(mirror, &pair.mirror_frame, &pair.mirror_from_stored, format!("photographed: {}", mirror.name)),
        ShownSphere { ghosts: ghosts(pair, report), ..rendered },
    ]
}

/// The photographed lights that the CG lacks, where they would be on its sphere.
fn ghosts(pair: &Pair, report: &Report) -> Vec<GhostMark> {
    let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
    let crop = Crop::around(cg, &pair.cg_frame);
    let of_pair =
        |f: &&Finding| f.check == CheckId::HighlightDirection && f.mirror.as_deref() == Some(mirror.name.as_str());
    let missing = report.findings.iter().find(of_pair).and_then(|f| f.detail.get("missing_in_cg")?.as_array());
    let is_missing = |direction: [f64; 2]| {
        missing.into_iter().flatten().any(|entry| {
            let number = |key: &str| entry.get(key).and_then(serde_json::Value::as_f64);
            let told = [number("azimuth_deg"), number("elevation_deg")];
            // The report keeps six digits of each angle.
            told.iter().zip(direction).all(|(told, own)| told.is_some_and(|told| (told - own).abs() < 0.01))
        })
    };
    let lights = mirror.lights.all.iter().enumerate().filter_map(|(index, light)| {
        let [azimuth_deg, elevation_deg] = azimuth_elevation_deg(&light.direction);
        let crop_xy = cg.geometry.locate(&light.direction).map(|p| crop.place(p));
        let name = format!("P{}", index + 1);
        is_missing([azimuth_deg, elevation_deg]).then_some(GhostMark { name, crop_xy, azimuth_deg, elevation_deg })
    });
    lights.collect()
}

/// The picture of one frame's sphere as PNG bytes.
pub(super) fn sphere_picture(
    side: &SphereMeasurement,
    frame: &Frame,
    working_from_stored: &Matrix3<f64>,
) -> Result<Vec<u8>> {
    let shown = evidence_side(side, frame, working_from_stored, "sphere".to_owned());
    let key = side.lights.key().map(|key| {
        let [azimuth, elevation] = azimuth_elevation_deg(&key.direction);
        format!("key at azimuth {azimuth:.1} deg, elevation {elevation:.1} deg")
    });
    let lines: Vec<String> = key.into_iter().collect();
    render_sphere_picture(&shown, &crate::printable_text(&frame.record.file), &lines, display_gain(side))
}

fn finding_lines(report: &Report) -> Vec<FindingLine> {
    let naming = Naming::of(report);
    let line = |finding: &Finding| {
        let verdict = if finding.waived.is_some() { Verdict::Match } else { finding.verdict };
        FindingLine {
            check: naming.name(finding),
            text: finding_words(finding),
            verdict,
            is_on_set: finding.concerns == Concerns::Reference,
            is_set_problem: is_set_problem(finding),
        }
    };
    report.findings.iter().map(line).collect()
}

/// Gain that shows the median of the sphere's light as mid grey, held back where that would burn out a tenth of it.
fn display_gain(side: &SphereMeasurement) -> f64 {
    let mut seen: Vec<f64> =
        side.image.samples.iter().flatten().map(|s| f64::from(s.luminance)).filter(|l| *l > 0.0).collect();
    seen.sort_by(f64::total_cmp);
    let at = |fraction: f64| seen.get((seen.len() as f64 * fraction) as usize).copied();
    match (at(0.5), at(0.9)) {
        (Some(median), Some(bright)) => (0.18 / median).min(1.0 / bright),
        _ => 1.0,
    }
}

fn evidence_side(
    side: &SphereMeasurement,
    frame: &Frame,
    working_from_stored: &Matrix3<f64>,
    title: String,
) -> EvidenceSide {
    EvidenceSide {
        sphere: shown_sphere(side, frame, working_from_stored, title),
        unwrapped: unwrapped(side),
        matte: matte(side),
    }
}

fn shown_sphere(
    side: &SphereMeasurement,
    frame: &Frame,
    working_from_stored: &Matrix3<f64>,
    title: String,
) -> ShownSphere {
    let crop = Crop::around(side, frame);
    let lights = side.lights.all.iter().enumerate().map(|(i, light)| {
        let [azimuth_deg, elevation_deg] = azimuth_elevation_deg(&light.direction);
        LightMark {
            crop_xy: light.point_px.map(|p| crop.place(p)),
            azimuth_deg,
            elevation_deg,
            angular_radius_deg: light.angular_radius_deg.ok().map(|r| r.value),
            share: share(light),
            label: if i == 0 && !side.lights.no_single_key() { "key".to_owned() } else { String::new() },
            clipped: light.clipped,
        }
    });
    ShownSphere {
        title,
        outline_points: (0..120).map(|i| crop.place(side.fit.outline.point(2.0 * PI * f64::from(i) / 120.0))).collect(),
        lights: lights.collect(),
        ghosts: Vec::new(),
        crop: crop.picture(frame, working_from_stored),
    }
}

fn share(light: &Light) -> String {
    let bound = if light.clipped { ">=" } else { "" };
    format!("{bound}{:.0} %", 100.0 * light.share.value)
}

/// A square around the sphere, in blocks of whole pixels.
struct Crop {
    corner: [i64; 2],
    block: usize,
    side: usize,
}

impl Crop {
    fn around(side: &SphereMeasurement, frame: &Frame) -> Self {
        let outline = side.fit.outline;
        let reach = outline.semi_a * CROP_RADII + 2.0;
        let block = (2.0 * reach / CROP_PX as f64).ceil().max(1.0) as usize;
        let corner = [(outline.centre_x - reach).floor() as i64, (outline.centre_y - reach).floor() as i64];
        let largest = frame.size.width.max(frame.size.height) * 2;
        Self { corner, block, side: ((2.0 * reach).ceil() as usize).min(largest).div_ceil(block) }
    }

    fn place(&self, point: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (point[axis] - self.corner[axis] as f64) / self.block as f64)
    }

    fn picture(&self, frame: &Frame, working_from_stored: &Matrix3<f64>) -> LinearPicture {
        let pixel = |i: usize| self.pixel(frame, working_from_stored, i % self.side, i / self.side);
        LinearPicture { width: self.side, height: self.side, rgb: parallel::map(self.side * self.side, pixel) }
    }

    fn pixel(&self, frame: &Frame, working_from_stored: &Matrix3<f64>, column: usize, row: usize) -> [f32; 3] {
        let (mut sum, mut count) = ([0.0; 3], 0.0);
        for dy in 0..self.block {
            for dx in 0..self.block {
                let x = self.corner[0] + (column * self.block + dx) as i64;
                let y = self.corner[1] + (row * self.block + dy) as i64;
                // What the sphere hardly covers is dark by its coverage and would look like a ragged rim.
                if frame.alpha_at(x, y).is_some_and(|a| a < LEAST_COVERAGE) {
                    continue;
                }
                let Some(value) = frame.pixel(x, y) else { continue };
                count += 1.0;
                for channel in 0..3 {
                    sum[channel] += f64::from(value[channel]);
                }
            }
        }
        if count == 0.0 {
            return [f32::NAN; 3];
        }
        (working_from_stored * Vector3::from(sum.map(|s| s / count))).map(|v| v as f32).into()
    }
}

/// The direction of a lat-long pixel: azimuth from −180 at the left edge to +180 at the right, zenith on top.
fn latlong_direction(index: usize, columns: usize) -> Vector3<f64> {
    let (column, row) = (index % columns, index / columns);
    let azimuth = (column as f64 + 0.5) / columns as f64 * 360.0 - 180.0;
    let elevation = 90.0 - (row as f64 + 0.5) / (columns / 2) as f64 * 180.0;
    direction_of_deg(azimuth, elevation)
}

fn unwrapped(side: &SphereMeasurement) -> LinearPicture {
    let (width, height) = (UNWRAPPED_COLUMNS, UNWRAPPED_COLUMNS / 2);
    let seen = |i: usize| {
        let point = side.geometry.locate(&latlong_direction(i, width));
        let radiance = point.and_then(|p| side.image.radiance_at(p));
        radiance.map_or([f32::NAN; 3], |rgb| rgb.map(|v| v as f32))
    };
    LinearPicture { width, height, rgb: parallel::map(width * height, seen) }
}

/// CG minus mirror in stops, both blurred as for the comparison.
fn difference(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> LinearPictureGrey {
    let (width, height) = (DIFFERENCE_COLUMNS, DIFFERENCE_COLUMNS / 2);
    let (ours, theirs) = (mirror.image.map.compared(), cg.image.map.compared());
    let stops: Vec<Option<f64>> = ours.iter().zip(theirs).map(|(a, b)| ratio(a.as_ref()?, b.as_ref()?)).collect();
    let values = parallel::map(width * height, |i| interpolate(&stops, &latlong_direction(i, width)));
    LinearPictureGrey { width, height, values }
}

fn ratio(mirror: &Smoothed, cg: &Smoothed) -> Option<f64> {
    Stops::from_ratio(cg.luminance, mirror.luminance).map(|s| s.0)
}

/// Weighted mean of the cells around a direction; NaN where the nearest cell is unknown.
fn interpolate(values: &[Option<f64>], direction: &Vector3<f64>) -> f32 {
    let grid = DirectionGrid::shared();
    let nearest = grid.cell(direction);
    if values[nearest].is_none() {
        return f32::NAN;
    }
    let (mut sum, mut weights) = (0.0, 0.0);
    for (cell, angle) in grid.neighbours(nearest) {
        let Some(value) = values[usize::from(*cell)].filter(|_| *angle <= 0.12) else { continue };
        let distance = (grid.directions[usize::from(*cell)] - direction).norm();
        let weight = (-(distance / 0.035).powi(2)).exp();
        sum += value * weight;
        weights += weight;
    }
    (sum / weights) as f32
}

/// Points per side at which the grey sphere's light is summed up; between them it is interpolated, for it varies no
/// faster than the cosine of its normal.
const MATTE_POINTS: usize = 49;

/// A grey sphere under the side's light, seen from the camera.
fn matte(side: &SphereMeasurement) -> LinearPicture {
    let towards = side.geometry.towards_camera();
    let [right, up] = tangents(&-towards);
    let at = |i: usize| 2.0 * i as f64 / (MATTE_POINTS - 1) as f64 - 1.0;
    let shade = |i: usize| {
        // Beside the sphere the light of its rim goes on, so that the rim can be interpolated too.
        let (x, y) = (at(i % MATTE_POINTS), -at(i / MATTE_POINTS));
        let beside = x.hypot(y).max(1.0);
        let (x, y) = (x / beside, y / beside);
        let normal = right * x + up * y + towards * (1.0 - x * x - y * y).max(0.0).sqrt();
        patch_rgb(&side.sources, &normal).map(|e| (e * MATTE_REFLECTANCE / PI) as f32)
    };
    let points: Vec<[f32; 3]> = parallel::map(MATTE_POINTS * MATTE_POINTS, shade);
    let pixel = |i: usize| {
        let across = |i: usize| 2.0 * (i as f64 + 0.5) / MATTE_PX as f64 - 1.0;
        let (x, y) = (across(i % MATTE_PX), across(i / MATTE_PX));
        if x.hypot(y) > 1.0 { [f32::NAN; 3] } else { between(&points, [x, y]) }
    };
    LinearPicture { width: MATTE_PX, height: MATTE_PX, rgb: parallel::map(MATTE_PX * MATTE_PX, pixel) }
}

/// Bilinear between the grey sphere's points, at a place from −1 to 1 each way.
fn between(points: &[[f32; 3]], place: [f64; 2]) -> [f32; 3] {
    let steps = place.map(|p| (p + 1.0) * 0.5 * (MATTE_POINTS - 1) as f64);
    let cell = steps.map(|s| (s as usize).min(MATTE_POINTS - 2));
    let [fx, fy] = [0, 1].map(|axis| (steps[axis] - cell[axis] as f64) as f32);
    let at = |dx: usize, dy: usize| points[(cell[1] + dy) * MATTE_POINTS + cell[0] + dx];
    let (a, b, c, d) = (at(0, 0), at(1, 0), at(0, 1), at(1, 1));
    [0, 1, 2].map(|i| (a[i] * (1.0 - fx) + b[i] * fx) * (1.0 - fy) + (c[i] * (1.0 - fx) + d[i] * fx) * fy)
}
