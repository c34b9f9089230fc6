//! A sphere's reflectance from something that one frame shows twice: directly, and in the sphere.
//!
//! A matt surface (grey card, white wall) sends the same radiance to the camera and to the sphere, so its picture in
//! the sphere over its direct picture is the sphere's reflectance at that angle. The outline is needed for the angle
//! alone.

use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::InputRecord;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sheet::{CameraSpec, ImageSpec};
use crate::sphere::{MirrorGeometry, SphereFit, Told, inside_polygon, polygon_bounds};
use crate::{Error, ErrorKind, Result};

use super::candidates::Refused;
use super::sought::{Sought, find};
use super::{intake, mirror};

/// What to measure.
#[derive(Debug, Clone, Default)]
pub struct ReflectanceQuery {
    /// The frame, path relative to the working directory.
    pub image: ImageSpec,
    /// Its camera, where known.
    pub camera: Option<CameraSpec>,
    /// What is told of the sphere's place.
    pub told: Told,
    /// Corners, px, around a part of the surface as seen directly.
    pub seen_directly: Vec<[f64; 2]>,
    /// Corners, px, around the same part as seen in the sphere.
    pub seen_in_sphere: Vec<[f64; 2]>,
}

/// What was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeasuredReflectance {
    /// Linear reflectance per channel in the frame's own colour space, at `incidence_deg`.
    pub reflectance: [f64; 3],
    /// One standard deviation of each.
    pub reflectance_sd: [f64; 3],
    /// The same in stops, the channels' mean: what `reflectance_sd_stops` of a shot sheet takes.
    pub reflectance_sd_stops: f64,
    /// Angle of incidence on the sphere, degrees.
    pub incidence_deg: f64,
    /// Pixels of the direct view and of the view in the sphere.
    pub pixels: [usize; 2],
    /// Colour space of the numbers.
    pub colour_space: String,
    /// How uneven the surface looks in each view beyond its noise, as a part of its value.
    pub unevenness: [f64; 2],
    /// Either view is too uneven to be one matt surface lit alike: the numbers should not be used.
    pub unsure: bool,
    /// The file read.
    pub input: InputRecord,
    /// Things the reader should know.
    pub warnings: Vec<String>,
}

/// Pixels needed in each view.
const LEAST_PIXELS: usize = 20;

/// A surface that is not quite matt or not lit quite evenly: share of the value (common practice, no source).
const SURFACE_SD: f64 = 0.03;

/// The same for a tone curve that no bracket told: a third of a stop.
const TONE_CURVE_SD: f64 = 0.26;

/// Where the two views differ from pixel to pixel, it is unknown which pixels correspond: this share of the scatter
/// stays in the mean (common practice, no source).
const UNEVEN_SHARE: f64 = 0.3;

/// A card or wall that varies by more than this is not one surface under one light (common practice, no source).
const UNEVEN: f64 = 0.12;

/// Beyond this angle metals depart from their reflectance head on by more than a percent or two.
const HEAD_ON_DEG: f64 = 45.0;

/// Measures a sphere's reflectance.
///
/// # Errors
/// A frame that cannot be used, no single sphere in it, a polygon that is too small, clipped, dark or off the sphere,
/// or a result that no mirror has.
pub fn measure_reflectance(query: &ReflectanceQuery) -> Result<MeasuredReflectance> {
    let frame = intake::open_frame(&query.image, Path::new(""), "sphere", true)?;
    let mut warnings = frame.warnings.clone();
    let view = intake::view_of(&frame, query.camera.as_ref(), &mut warnings);
    let searched = find(&frame, &view, &Sought::alone(query.told), &mut warnings);
    let refused = Refused { frame: &frame, view: &view, role: "", picture: false };
    let search = searched.map_err(|error| refused.with_candidates(error).0)?;
    if !search.rivals.is_empty() {
        let cause = format!("{} spheres fit equally well", search.rivals.len() + 1);
        return Err(fault(&frame, cause, "say which with --near X,Y,R"));
    }
    let direct = Patch::of(&frame, &query.seen_directly, "seen directly")?;
    let mirrored = Patch::of(&frame, &query.seen_in_sphere, "seen in the sphere")?;
    let incidence_deg = incidence_deg(&frame, &view, &search.best, query)?;
    if incidence_deg > HEAD_ON_DEG {
        warnings.push(format!(
            "the surface is reflected at {incidence_deg:.0} deg of incidence, where metals reflect differently than head on"
        ));
    }
    ratio(&frame, &direct, &mirrored, incidence_deg, warnings)
}

fn ratio(
    frame: &Frame,
    direct: &Patch,
    mirrored: &Patch,
    incidence_deg: f64,
    mut warnings: Vec<String>,
) -> Result<MeasuredReflectance> {
    let curve = if mirror::trust_of(frame).tone_curve { TONE_CURVE_SD } else { 0.0 };
    if curve > 0.0 {
        warnings.push(
            "a camera file in a display encoding has an unknown tone curve; use a linear frame for a tighter sd"
                .to_owned(),
        );
    }
    let unevenness = [direct.unevenness, mirrored.unevenness];
    for (uneven, what) in unevenness.into_iter().zip(["seen directly", "seen in the sphere"]) {
        if uneven > UNEVEN {
            warnings.push(format!(
                "what is {what} varies by {:.0} %: is that polygon on a single matt surface, evenly lit?",
                100.0 * uneven
            ));
        }
    }
    let (mut reflectance, mut reflectance_sd) = ([0.0; 3], [0.0; 3]);
    for c in 0..3 {
        let value = mirrored.mean[c] / direct.mean[c];
        let relative = direct.relative_sd(c).hypot(mirrored.relative_sd(c)).hypot(SURFACE_SD).hypot(curve);
        (reflectance[c], reflectance_sd[c]) = (value, value * relative);
        if value - 2.0 * reflectance_sd[c] > 1.0 {
            let cause = format!("it would reflect {value:.2}, which no mirror does");
            let remedy = "check that both polygons cover the same matt surface, evenly lit";
            return Err(fault(frame, cause, remedy));
        }
    }
    let relative = (0..3).map(|c| reflectance_sd[c] / reflectance[c]).sum::<f64>() / 3.0;
    Ok(MeasuredReflectance {
        reflectance,
        reflectance_sd,
        reflectance_sd_stops: relative / std::f64::consts::LN_2,
        incidence_deg,
        pixels: [direct.pixels, mirrored.pixels],
        colour_space: frame.space.name.clone(),
        unevenness,
        unsure: unevenness.iter().any(|uneven| *uneven > UNEVEN),
        input: frame.record.clone(),
        warnings,
    })
}

/// Mean angle of incidence over the corners seen in the sphere.
fn incidence_deg(frame: &Frame, view: &View, fit: &SphereFit, query: &ReflectanceQuery) -> Result<f64> {
    let geometry = MirrorGeometry::new(view, &fit.cone);
    let inside = |corner: &[f64; 2]| fit.outline.normalised_radius(*corner) < 1.0 - 1.0 / fit.outline.semi_b;
    let off = query.seen_in_sphere.iter().find(|c| !inside(c));
    if let Some([x, y]) = off {
        let cause = format!("the corner {x}, {y} of what is seen in the sphere is off the sphere or at its rim");
        return Err(fault(frame, cause, "draw the polygon inside the sphere"));
    }
    if query.seen_directly.iter().any(|c| fit.outline.normalised_radius(*c) < 1.0) {
        let cause = "what is seen directly is on the sphere".to_owned();
        return Err(fault(frame, cause, "draw that polygon around the surface itself, beside the sphere"));
    }
    let sines: Vec<f64> =
        query.seen_in_sphere.iter().filter_map(|c| geometry.reflect(*c)).map(|r| r.sin_incidence).collect();
    Ok((sines.iter().sum::<f64>() / sines.len().max(1) as f64).min(1.0).asin().to_degrees())
}

/// A surface in the frame.
struct Patch {
    mean: [f64; 3],
    sd: [f64; 3],
    pixels: usize,
    unevenness: f64,
}

impl Patch {
    fn of(frame: &Frame, corners: &[[f64; 2]], what: &str) -> Result<Self> {
        let values = values(frame, corners);
        if values.len() < LEAST_PIXELS {
            let cause =
                format!("the polygon {what} covers {} pixels; at least {LEAST_PIXELS} are needed", values.len());
            return Err(fault(frame, cause, "draw it larger, inside the frame, with three corners or more"));
        }
        let clip = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
        let clipped = values.iter().filter(|v| (0..3).any(|c| v[c] >= clip[c])).count();
        if clipped * 100 > values.len() {
            let cause = format!("{clipped} of {} pixels {what} are clipped", values.len());
            return Err(fault(frame, cause, "use a darker exposure or a darker part of the surface"));
        }
        let count = values.len() as f64;
        let mean = [0, 1, 2].map(|c| values.iter().map(|v| f64::from(v[c])).sum::<f64>() / count);
        if mean.iter().any(|m| *m <= 0.0) {
            return Err(fault(frame, format!("what is {what} is black"), "use a brighter surface or exposure"));
        }
        let square = |c: usize| values.iter().map(|v| (f64::from(v[c]) - mean[c]).powi(2)).sum::<f64>() / count;
        let unevenness = unevenness(&values, mean[1]);
        Ok(Self { mean, sd: [0, 1, 2].map(|c| square(c).sqrt()), pixels: values.len(), unevenness })
    }

    /// Relative standard deviation of the mean: noise shrinks with the pixels, unevenness does not.
    fn relative_sd(&self, channel: usize) -> f64 {
        UNEVEN_SHARE.max(1.0 / (self.pixels as f64).sqrt()) * self.sd[channel] / self.mean[channel]
    }
}

/// Scatter of green beyond what neighbours in a row differ by, as a part of the mean: structure, not noise.
fn unevenness(values: &[[f32; 3]], mean: f64) -> f64 {
    let green = |value: &[f32; 3]| f64::from(value[1]);
    let count = values.len() as f64;
    let scatter = values.iter().map(|v| (green(v) - mean).powi(2)).sum::<f64>() / count;
    // Values come row by row; where a row ends one difference in many is no neighbour's.
    let mut steps: Vec<f64> = values.windows(2).map(|pair| (green(&pair[1]) - green(&pair[0])).powi(2) / 2.0).collect();
    steps.sort_by(f64::total_cmp);
    steps.truncate(steps.len() - steps.len() / 20);
    let noise = steps.iter().sum::<f64>() / steps.len().max(1) as f64;
    (scatter - noise).max(0.0).sqrt() / mean
}

/// Every known pixel whose centre lies in the polygon.
fn values(frame: &Frame, corners: &[[f64; 2]]) -> Vec<[f32; 3]> {
    let Some([low, high]) = polygon_bounds(corners) else { return Vec::new() };
    let (left, right) = (frame.data.x as f64, frame.data.x as f64 + frame.data.width as f64);
    let (top, bottom) = (frame.data.y as f64, frame.data.y as f64 + frame.data.height as f64);
    let columns = low[0].clamp(left, right) as i64..high[0].clamp(left, right).ceil() as i64;
    let rows = low[1].clamp(top, bottom) as i64..high[1].clamp(top, bottom).ceil() as i64;
    let inside = |x: i64, y: i64| inside_polygon(corners, [x as f64 + 0.5, y as f64 + 0.5]);
    rows.flat_map(|y| columns.clone().map(move |x| (x, y)))
        .filter(|(x, y)| inside(*x, *y))
        .filter_map(|(x, y)| frame.pixel(x, y))
        .collect()
}

fn fault(frame: &Frame, cause: String, remedy: &str) -> Error {
    Error::new(ErrorKind::Parameter, &frame.path, cause, remedy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::DataWindow;
    use crate::image::Size;
    use crate::image::write::{ExrAttributes, write_exr};
    use crate::register::test_scene::Random;
    use crate::sphere::Outline;

    const TRUTH: [f64; 3] = [0.62, 0.60, 0.56];
    const CARD: [f64; 3] = [0.42, 0.40, 0.33];

    /// A card on the left, its picture in a sphere on the right, the rest dark.
    fn written(dir: &Path, seed: u64, gain_in_sphere: f64, noise: f64) -> String {
        let mut random = Random::new(seed);
        let size = Size { width: 240, height: 120 };
        let pixel = |i: usize| {
            let (x, y) = ((i % 240) as f64 + 0.5, (i / 240) as f64 + 0.5);
            let on_card = x < 70.0 && (20.0..100.0).contains(&y);
            let in_sphere = (x - 170.0).hypot(y - 60.0) < 45.0;
            let mirrored = (140.0..156.0).contains(&x) && (52.0..68.0).contains(&y);
            [0, 1, 2].map(|c| {
                let value = match (on_card, in_sphere, mirrored) {
                    (true, ..) => CARD[c],
                    (_, true, true) => CARD[c] * TRUTH[c] * gain_in_sphere,
                    (_, true, false) => 0.05,
                    _ => 0.02,
                };
                (value + noise * random.normal()) as f32
            })
        };
        let rgb: Vec<[f32; 3]> = (0..240 * 120).map(pixel).collect();
        let path = dir.join("card.exr");
        let data = DataWindow { x: 0, y: 0, width: 240, height: 120 };
        write_exr(&path, size, data, &rgb, None, &ExrAttributes::default()).unwrap();
        path.to_str().unwrap().to_owned()
    }

    fn square(x: f64, y: f64, side: f64) -> Vec<[f64; 2]> {
        vec![[x, y], [x + side, y], [x + side, y + side], [x, y + side]]
    }

    fn query(frame: String) -> ReflectanceQuery {
        ReflectanceQuery {
            image: ImageSpec::of_frame(frame),
            told: Told::Outline(Outline::circle(170.0, 60.0, 45.0)),
            seen_directly: square(10.0, 30.0, 50.0),
            seen_in_sphere: square(142.0, 54.0, 12.0),
            ..ReflectanceQuery::default()
        }
    }

    #[test]
    fn a_card_seen_twice_gives_the_reflectance_and_its_sd_holds() {
        let dir = tempfile::tempdir().unwrap();
        for seed in 0..20 {
            let found = measure_reflectance(&query(written(dir.path(), seed, 1.0, 0.01))).unwrap();
            for c in 0..3 {
                let error = (found.reflectance[c] - TRUTH[c]).abs();
                assert!(error < 2.0 * found.reflectance_sd[c], "{found:?}");
                assert!(error < 0.01 && found.reflectance_sd[c] < 0.05, "{found:?}");
            }
            // 22 px from the centre of a sphere of 45: asin(22/45) = 29 degrees for parallel rays.
            assert!((found.incidence_deg - 29.0).abs() < 3.0, "{}", found.incidence_deg);
        }
    }

    #[test]
    fn a_polygon_over_two_surfaces_is_unsure() {
        let dir = tempfile::tempdir().unwrap();
        let even = query(written(dir.path(), 3, 1.0, 0.02));
        let found = measure_reflectance(&even).unwrap();
        assert!(!found.unsure && found.unevenness.iter().all(|u| *u < 0.05), "{found:?}");
        // Half of it lies on the dark beside the card.
        let across = ReflectanceQuery { seen_directly: square(45.0, 30.0, 50.0), ..even };
        let found = measure_reflectance(&across).unwrap();
        assert!(found.unsure && found.warnings.iter().any(|w| w.contains("seen directly varies")), "{found:?}");
    }

    #[test]
    fn what_cannot_be_is_refused_with_a_remedy() {
        let dir = tempfile::tempdir().unwrap();
        let refused = |query: &ReflectanceQuery| measure_reflectance(query).unwrap_err().to_string();
        let file = written(dir.path(), 1, 2.2, 0.0);
        assert!(refused(&query(file)).contains("no mirror does"));
        let file = written(dir.path(), 1, 1.0, 0.0);
        let good = query(file);
        let with = |direct: Vec<[f64; 2]>, mirrored: Vec<[f64; 2]>| ReflectanceQuery {
            seen_directly: direct,
            seen_in_sphere: mirrored,
            ..good.clone()
        };
        assert!(refused(&with(square(10.0, 30.0, 2.0), good.seen_in_sphere.clone())).contains("pixels"));
        assert!(refused(&with(good.seen_directly.clone(), square(205.0, 54.0, 16.0))).contains("rim"));
        assert!(refused(&with(square(150.0, 40.0, 20.0), good.seen_in_sphere.clone())).contains("beside"));
        assert!(refused(&with(square(-1e30, 1e30, 1e30), good.seen_in_sphere.clone())).contains("pixels"));
        let mut clipped = good.clone();
        clipped.image.clip_level = Some(0.3);
        assert!(refused(&clipped).contains("clipped"));
    }
}
