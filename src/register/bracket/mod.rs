//! Several exposures of one view merged into one linear frame.

pub mod align;
pub mod ceilings;
pub mod response;

use crate::base::parallel;
use crate::base::robust::{Weighted, consensus};
use crate::base::statistics::{SD_PER_MEDIAN_DEVIATION, median};
use crate::image::noise::NoiseModel;
use crate::image::{CaptureMeta, Frame};
use crate::{Error, ErrorKind, Estimate, Result, Stops};

/// A frame and how it was exposed.
#[derive(Debug, Clone)]
pub struct BracketFrame {
    /// The linear frame.
    pub frame: Frame,
    /// Exposure relative to the plate, + = recorded brighter: radiance = pixel / 2^stops.
    pub stops: Stops,
}

/// From this share of the clip level on, a pixel's weight falls smoothly to zero at the level itself.
const ROLL_OFF_START: f32 = 0.8;
/// Below this share its weight is full however the roll-off is rounded.
const TRUSTED: f32 = 0.79;
/// Measured and stated stops may differ by this much (nominal values are rounded; common practice, no source).
const STATED_TOLERANCE_STOPS: f64 = 0.15;
/// Readings of two exposures that differ by more than this many standard deviations, and by more than this share of
/// the light besides, show something that moved or flickered (share: common practice, no source).
const MOVED_SD: f64 = 5.0;
const MOVED_SHARE: f64 = 0.2;
/// The report speaks of movement from this share of the picture on.
const MOVED_PIXELS_TOLD: f64 = 0.002;
/// Stated stops beyond this are a mistake, and would overflow.
const LARGEST_STOPS: f64 = 60.0;
/// Pixels compared between two frames, about.
const COMPARED_PIXELS: usize = 60_000;
/// Comparable pixels needed for measured stops.
const LEAST_COMPARED: usize = 200;
/// Standard deviation in stops that comparing frames pixel by pixel cannot beat (shutters and irises repeat no better).
const COMPARE_SD_STOPS: f64 = 0.01;

/// Merges a bracket to the plate's exposure: per pixel and channel the mean of `pixel / 2^stops`, weighted by one over
/// its noise variance, without what is clipped or masked. Where another exposure contradicts the one nearest to the
/// plate's (somebody moved, a lamp flickered), the nearest alone counts.
///
/// Where every frame is clipped the shortest exposure's value stays, at or above the merged clip level, so a clipped
/// core remains a lower bound. The merged frame carries the record, metadata and path of the frame nearest to the
/// plate's exposure (its exposure time scaled to the merged exposure) and the warnings of all; the caller keeps the
/// records of the others. Stated stops that linear pictures contradict give way to what these say, with a warning.
///
/// # Errors
/// No frame at all, stops that are not finite, or frames that differ in size, data window or colour space.
pub fn merge(mut frames: Vec<BracketFrame>) -> Result<Frame> {
    check(&frames)?;
    if frames.len() == 1 {
        return frames.pop().map(at_plate_exposure).ok_or_else(no_frames);
    }
    // Settling the stops leaves the pixels as they are: one look at the noise of each frame is enough.
    let noise: Vec<NoiseModel> = parallel::map_each(&frames, |f| NoiseModel::of(&f.frame));
    let (mut warnings, contradicted) = warnings(&mut frames, &noise);
    let eight_bit = frames.iter().all(|f| f.frame.eight_bit);
    let mut layers: Vec<Layer<'_>> = frames.iter().zip(&noise).map(|(f, noise)| Layer::new(f, noise)).collect();
    layers.sort_by(|a, b| a.stops.total_cmp(&b.stops));
    let order = by_nearness(&layers);
    let width = frames[0].frame.data.width;
    let merged = parallel::map(frames[0].frame.rgb.len(), |i| merged_pixel(&layers, &order, i, width));
    let (rgb, moved): (Vec<[f32; 3]>, Vec<bool>) = merged.into_iter().unzip();
    // Wrong stops look like movement everywhere.
    warnings.extend(moved_words(&moved).filter(|_| !contradicted));
    let clip_level = layers[0].merged_clip();
    drop(layers);
    let nearest = frames.into_iter().min_by(|a, b| a.stops.0.abs().total_cmp(&b.stops.0.abs()));
    let BracketFrame { frame, stops } = nearest.ok_or_else(no_frames)?;
    let meta = meta_at_plate_exposure(&frame.meta, stops);
    Ok(Frame { rgb, clip_level, eight_bit, meta, warnings, ..frame })
}

/// A single frame brought to the plate's exposure.
fn at_plate_exposure(single: BracketFrame) -> Frame {
    let BracketFrame { mut frame, stops } = single;
    if stops.0 != 0.0 {
        let factor = (-stops).ratio();
        let scale = |v: f32| (f64::from(v) * factor) as f32;
        parallel::each(&mut frame.rgb, |_, rgb| *rgb = rgb.map(scale));
        frame.clip_level = frame.clip_level.map(|level| level.map(scale));
        frame.meta = meta_at_plate_exposure(&frame.meta, stops);
    }
    frame
}

/// The metadata with the exposure time that would have recorded the merged values.
fn meta_at_plate_exposure(meta: &CaptureMeta, stops: Stops) -> CaptureMeta {
    CaptureMeta { exposure_time_s: meta.exposure_time_s.map(|t| t / stops.ratio()), ..meta.clone() }
}

/// How much brighter `frame` was exposed than `plate`, as both files state it. T-stops are compared with T-stops and
/// f-numbers with f-numbers where both have them. `None` unless time, aperture and ISO of both are known.
pub fn stops_from_metadata(plate: &CaptureMeta, frame: &CaptureMeta) -> Option<Stops> {
    let both_t = plate.t_stop.is_some() && frame.t_stop.is_some();
    let both_f = plate.f_number.is_some() && frame.f_number.is_some();
    let alike = |meta: &CaptureMeta| match (both_t, both_f) {
        (false, true) => CaptureMeta { t_stop: None, ..meta.clone() },
        _ => meta.clone(),
    };
    let difference = alike(frame).exposure_stops()? - alike(plate).exposure_stops()?;
    difference.is_finite().then_some(Stops(difference))
}

/// How much brighter `b` was recorded than `a`, from well exposed pixels at the same places: the value most of them
/// agree on. `None` where the frames differ in size or too little is well exposed in both.
pub fn measured_stops(a: &Frame, b: &Frame) -> Option<Estimate> {
    let (noise_a, noise_b) = parallel::both(|| NoiseModel::of(a), || NoiseModel::of(b));
    stops_between(&Exposed { frame: a, noise: noise_a }, &Exposed { frame: b, noise: noise_b })
}

/// The same of frames whose noise is known.
fn stops_between(first: &Exposed<'_>, second: &Exposed<'_>) -> Option<Estimate> {
    let (a, b) = (first.frame, second.frame);
    if a.data != b.data || a.rgb.len() != b.rgb.len() {
        return None;
    }
    let step = (a.rgb.len() / COMPARED_PIXELS) | 1;
    let both: Vec<[Shown; 2]> =
        (0..a.rgb.len()).step_by(step).filter_map(|i| Some([first.unclipped(i)?, second.unclipped(i)?])).collect();
    if is_firm_in_both(&both) { by_pixels(&both) } else { by_groups(&both) }
}

/// A pixel of one frame: mean of the channels and its standard deviation.
type Shown = (f64, f64);

/// A reading is firm from so many standard deviations above black on.
const FIRM_SDS: f64 = 10.0;

fn is_firm((value, sd): &Shown) -> bool {
    *value > FIRM_SDS * sd
}

/// Hardly any pixel that one frame shows well is lost in the noise of the other. Else those that noise lifts would be the ones
/// that count.
fn is_firm_in_both(both: &[[Shown; 2]]) -> bool {
    let (in_both, in_one) = both.iter().fold((0_usize, 0_usize), |(two, one), [a, b]| {
        (two + usize::from(is_firm(a) && is_firm(b)), one + usize::from(is_firm(a) || is_firm(b)))
    });
    in_both as f64 >= FIRM_IN_BOTH * in_one as f64
}

/// Pixel by pixel: the value most of them agree on.
fn by_pixels(both: &[[Shown; 2]]) -> Option<Estimate> {
    let ratio = |[a, b]: &[Shown; 2]| {
        let value = Stops::from_ratio(b.0, a.0).filter(|_| is_firm(a) && is_firm(b))?.0;
        let sd = (a.1 / a.0).hypot(b.1 / b.0) / std::f64::consts::LN_2;
        Some(Weighted { value, weight: 1.0 / (sd.powi(2) + COMPARE_SD_STOPS.powi(2)) })
    };
    let ratios: Vec<Weighted> = both.iter().filter_map(ratio).collect();
    let found = consensus(&ratios, 1e-4).filter(|_| ratios.len() >= LEAST_COMPARED)?;
    let chance = found.spread / (ratios.len() as f64).sqrt();
    let doubt = found.rival.map_or(0.0, |rival| 0.5 * (rival - found.centre).abs());
    Some(Estimate::new(found.centre, chance.hypot(COMPARE_SD_STOPS).hypot(doubt)))
}

/// Of the pixels that either frame shows well, this part has to be shown well by both.
const FIRM_IN_BOTH: f64 = 0.8;

/// Groups of pixels that the brighter frame shows alike, whose medians are compared; noise has no say in which pixels count, and
/// in the median it is even.
const GROUPS: usize = 16;
const LEAST_IN_GROUP: usize = 50;

/// A group less sure than this says nothing, stops.
const SURE_GROUP_SD_STOPS: f64 = 0.15;

fn by_groups(both: &[[Shown; 2]]) -> Option<Estimate> {
    let level = |side: usize| median(both.iter().map(|pair| pair[side].0));
    let bright = usize::from(level(1)? > level(0)?);
    let mut shown: Vec<&[Shown; 2]> = both.iter().filter(|p| is_firm(&p[bright])).collect();
    shown.sort_by(|a, b| a[bright].0.total_cmp(&b[bright].0));
    let groups = shown.chunks((shown.len() / GROUPS).max(LEAST_IN_GROUP));
    let stops: Vec<Weighted> = groups.filter(|g| g.len() >= LEAST_IN_GROUP).filter_map(group_stops).collect();
    let found = consensus(&stops, 1e-4)?;
    let doubt = found.rival.map_or(0.0, |rival| 0.5 * (rival - found.centre).abs());
    let chance = found.spread.max(SURE_GROUP_SD_STOPS / 4.0) / (stops.len() as f64).sqrt();
    Some(Estimate::new(found.centre, chance.hypot(COMPARE_SD_STOPS).hypot(doubt)))
}

/// Stops by which the second frame is brighter in one group.
fn group_stops(group: &[&[Shown; 2]]) -> Option<Weighted> {
    let of = |side: usize| median(group.iter().map(|pair| pair[side].0));
    let (a, b) = (of(0)?, of(1)?);
    let value = Stops::from_ratio(b, a)?.0;
    let residual = median(group.iter().map(|pair| (pair[1].0 / b - pair[0].0 / a).abs()))?;
    // The median's standard error is 1.25 that of the mean.
    let sd = 1.25 * SD_PER_MEDIAN_DEVIATION * residual / (group.len() as f64).sqrt() / std::f64::consts::LN_2;
    (sd < SURE_GROUP_SD_STOPS).then(|| Weighted { value, weight: 1.0 / (sd.powi(2) + COMPARE_SD_STOPS.powi(2)) })
}

/// Light below which an 8-bit file has too few codes to compare exposures: about code 16 of sRGB.
const DARK_IN_EIGHT_BITS: f64 = 0.005;

/// The well exposed pixels of one frame.
struct Exposed<'a> {
    frame: &'a Frame,
    noise: NoiseModel,
}

impl Exposed<'_> {
    /// Mean of the channels and its standard deviation; `None` where clipped, masked or among the few codes at the dark end of
    /// an 8-bit file.
    fn unclipped(&self, i: usize) -> Option<(f64, f64)> {
        let rgb = self.frame.rgb[i];
        let clipped = |c: usize| self.frame.clip_level.is_some_and(|level| rgb[c] >= ROLL_OFF_START * level[c]);
        let mean = (f64::from(rgb[0]) + f64::from(rgb[1]) + f64::from(rgb[2])) / 3.0;
        let of = |c: usize| self.noise.variance(c, f64::from(rgb[c]));
        let variance = (of(0) + of(1) + of(2)) / 9.0;
        let dark = self.frame.eight_bit && mean <= DARK_IN_EIGHT_BITS;
        (mean.is_finite() && !dark && !(0..3).any(clipped)).then(|| (mean, variance.sqrt()))
    }
}

fn no_frames() -> Error {
    Error::new(ErrorKind::Parameter, "bracket", "the bracket holds no frame", "give at least one frame")
}

/// All frames show the same pixels in the same colour space, with possible stops.
fn check(frames: &[BracketFrame]) -> Result<()> {
    let first = &frames.first().ok_or_else(no_frames)?.frame;
    for BracketFrame { frame, stops } in frames {
        if stops.0.is_nan() || stops.0.abs() > LARGEST_STOPS {
            return Err(fault(frame, format!("{} stops is no exposure", stops.0), "correct its exposure_stops"));
        }
        if frame.size != first.size || frame.data != first.data {
            let cause = format!("its size or data window differs from that of {}", crate::printable(&first.path));
            return Err(fault(frame, cause, "use a bracket whose frames were all delivered the same way"));
        }
        if frame.rgb.len() != frame.data.width.saturating_mul(frame.data.height) {
            return Err(fault(frame, "its pixels do not fill its data window".to_owned(), "deliver the frame again"));
        }
        if (frame.space.to_working - first.space.to_working).abs().max() > 1e-4 {
            let cause =
                format!("it is in {}, {} in {}", frame.space.name, crate::printable(&first.path), first.space.name);
            return Err(fault(
                frame,
                cause,
                "deliver the whole bracket in one colour space, or state it with colour_space",
            ));
        }
    }
    Ok(())
}

fn fault(frame: &Frame, cause: String, remedy: &str) -> Error {
    Error::new(ErrorKind::Parameter, &frame.path, cause, remedy)
}

/// The frames' own warnings and what the pictures say against the stated stops; whether any of that still stands.
fn warnings(frames: &mut [BracketFrame], noise: &[NoiseModel]) -> (Vec<String>, bool) {
    let (disagreements, contradicted) = settle_stops(frames, noise);
    let mut all: Vec<String> = Vec::new();
    for warning in frames.iter().flat_map(|f| f.frame.warnings.iter().cloned()).chain(disagreements) {
        if !all.contains(&warning) {
            all.push(warning);
        }
    }
    (all, contradicted)
}

/// Puts what the pictures say in place of stated stops that they contradict, from the frame nearest to the plate's exposure
/// outwards. Only in linear frames: what a tone curve does to a ratio is no exposure, and its contradictions stay. Gives
/// the contradictions in words, and whether any stays.
fn settle_stops(frames: &mut [BracketFrame], noise: &[NoiseModel]) -> (Vec<String>, bool) {
    let linear = !frames.iter().any(|f| f.frame.is_display_picture());
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| frames[*a].stops.0.total_cmp(&frames[*b].stops.0));
    let nearness = |i: &usize| frames[order[*i]].stops.0.abs();
    let nearest = (0..order.len()).min_by(|a, b| nearness(a).total_cmp(&nearness(b))).unwrap_or(0);
    let mut words = Vec::new();
    for outwards in [order[nearest..].to_vec(), order[..=nearest].iter().rev().copied().collect()] {
        let stated: Vec<Stops> = outwards.iter().map(|i| frames[*i].stops).collect();
        for (pair, stops) in outwards.windows(2).zip(stated.windows(2)) {
            let mut apart = stops[1] - stops[0];
            let exposed = |i: usize| Exposed { frame: &frames[i].frame, noise: noise[i] };
            if let Some(measured) = contradiction(&exposed(pair[0]), &exposed(pair[1]), apart) {
                let of = |i: usize| crate::printable(&frames[i].frame.path);
                words.push(format!(
                    "{} is stated as {:+.2} stops against {}, but its pixels show {:+.2}: the stated stops are \
                     wrong, the light changed or the files are not linear{}",
                    of(pair[1]),
                    apart.0,
                    of(pair[0]),
                    measured.0,
                    if linear { "; what the pixels show is used" } else { "" }
                ));
                apart = if linear { measured } else { apart };
            }
            frames[pair[1]].stops = frames[pair[0]].stops + apart;
        }
    }
    let contradicted = !linear && !words.is_empty();
    (words, contradicted)
}

/// What the pictures say, where it contradicts that `b` was exposed `stated` brighter than `a`.
fn contradiction(a: &Exposed<'_>, b: &Exposed<'_>, stated: Stops) -> Option<Stops> {
    let measured = stops_between(a, b)?;
    let wrong = (measured.value - stated.0).abs() - 3.0 * measured.sd > STATED_TOLERANCE_STOPS;
    wrong.then_some(Stops(measured.value))
}

/// One frame of the bracket on its way into the mean.
struct Layer<'a> {
    frame: &'a Frame,
    stops: f64,
    /// From pixel value to radiance at the plate's exposure.
    to_radiance: f64,
    /// Per channel, value at which the pixel counts as clipped; infinite where unknown.
    clip: [f32; 3],
    /// Per channel, value below which a reading has full trust.
    trusted_below: [f32; 3],
    /// Per channel, variance of the radiance in the dark, and its growth per unit of radiance.
    read_variance: [f64; 3],
    shot: [f64; 3],
}

/// A reading that has some trust.
#[derive(Clone, Copy)]
struct Reading {
    radiance: f64,
    trust: f64,
}

impl<'a> Layer<'a> {
    fn new(source: &'a BracketFrame, noise: &NoiseModel) -> Self {
        let frame = &source.frame;
        let k = (-source.stops).ratio();
        let clip = frame.clip_level.map_or([f32::INFINITY; 3], |l| l.map(|v| if v > 0.0 { v } else { f32::INFINITY }));
        Self {
            frame,
            stops: source.stops.0,
            to_radiance: k,
            clip,
            trusted_below: clip.map(|v| v * TRUSTED),
            // The floor keeps weights finite for a frame that is black throughout.
            read_variance: noise.read_variance.map(|v| (v * k * k).max(1e-100)),
            shot: noise.shot.map(|v| v * k),
        }
    }

    fn merged_clip(&self) -> Option<[f32; 3]> {
        self.frame.clip_level.map(|level| level.map(|v| (f64::from(v) * self.to_radiance) as f32))
    }

    fn radiance(&self, i: usize, c: usize) -> f64 {
        f64::from(self.frame.rgb[i][c]) * self.to_radiance
    }

    /// The reading with trust 1 well below the clip level, falling smoothly to 0 at it; `None` without any.
    fn reading(&self, i: usize, c: usize) -> Option<Reading> {
        let value = self.frame.rgb[i][c];
        if value.is_finite() && value < self.trusted_below[c] {
            return Some(Reading { radiance: self.radiance(i, c), trust: 1.0 });
        }
        let t = ((1.0 - value / self.clip[c]) / (1.0 - ROLL_OFF_START)).min(1.0);
        let usable = value.is_finite() && t > 0.0;
        usable.then(|| Reading { radiance: self.radiance(i, c), trust: f64::from(t * t * (3.0 - 2.0 * t)) })
    }

    /// Well exposed: below the roll-off and well above the noise.
    fn is_firm(&self, i: usize, c: usize) -> bool {
        let noise = |r: &Reading| self.variance(c, r.radiance).sqrt();
        self.reading(i, c).is_some_and(|r| r.trust > 0.5 && r.radiance > 10.0 * noise(&r))
    }

    /// Variance of the radiance that this frame gives where the true radiance is `expected`.
    fn variance(&self, c: usize, expected: f64) -> f64 {
        self.read_variance[c] + self.shot[c] * expected.max(0.0)
    }
}

/// Numbers of the layers, the one exposed most like the plate first.
fn by_nearness(layers: &[Layer<'_>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..layers.len()).collect();
    order.sort_by(|a, b| layers[*a].stops.abs().total_cmp(&layers[*b].stops.abs()));
    order
}

/// The merged pixel, and whether an exposure was left out because something moved; `layers` from the shortest exposure
/// to the longest. A pixel masked in all is NaN in all channels.
fn merged_pixel(layers: &[Layer<'_>], order: &[usize], i: usize, width: usize) -> ([f32; 3], bool) {
    let fits = fitting(layers, order, i, width);
    let rgb = [0, 1, 2].map(|c| merged_channel(layers, fits, i, c).map_or(f32::NAN, |v| v as f32));
    let rgb = if rgb.iter().all(|v| v.is_finite()) { rgb } else { [f32::NAN; 3] };
    (rgb, fits != u64::MAX)
}

/// Which layers show the same as the nearest well exposed one, as bits; all where none is well exposed.
fn fitting(layers: &[Layer<'_>], order: &[usize], i: usize, width: usize) -> u64 {
    let Some(&base) = order.iter().find(|l| (0..3).all(|c| layers[**l].is_firm(i, c))) else { return u64::MAX };
    let moved = |l: usize| l != base && (0..3).any(|c| contradicts(&layers[l], &layers[base], i, c, width));
    (0..layers.len().min(64)).filter(|l| moved(*l)).fold(u64::MAX, |bits, l| bits & !(1 << l))
}

/// The layer's reading is no reading of what the base shows here or right beside: edges are never sampled alike twice.
fn contradicts(layer: &Layer<'_>, base: &Layer<'_>, i: usize, c: usize, width: usize) -> bool {
    let Some(reading) = layer.reading(i, c).filter(|r| r.trust > 0.2) else { return false };
    let (value, expected) = (reading.radiance, base.radiance(i, c));
    let share = MOVED_SHARE * expected.abs().max(value.abs());
    // Most readings are this close, whatever the noise.
    if (value - expected).abs() <= share {
        return false;
    }
    let sd = (layer.variance(c, expected) + base.variance(c, expected)).sqrt();
    let slack = MOVED_SD * sd + share;
    if (value - expected).abs() <= slack {
        return false;
    }
    let near = [i.wrapping_sub(width + 1), i.wrapping_sub(1), i + width.saturating_sub(1)];
    let around = near.iter().flat_map(|start| (0..3).map(move |d| start.wrapping_add(d)));
    let radiances = around.filter(|n| *n < base.frame.rgb.len()).map(|n| base.radiance(n, c));
    let (low, high) = radiances.fold((expected, expected), |(low, high), r| (low.min(r), high.max(r)));
    value < low - slack || value > high + slack
}

fn moved_words(moved: &[bool]) -> Option<String> {
    let share = moved.iter().filter(|m| **m).count() as f64 / moved.len().max(1) as f64;
    (share > MOVED_PIXELS_TOLD).then(|| {
        format!(
            "{:.1} % of the picture moved or flickered between the exposures of the bracket; only the exposure \
             closest to the plate's is used there (stops are unaffected)",
            100.0 * share
        )
    })
}

fn merged_channel(layers: &[Layer<'_>], fits: u64, i: usize, c: usize) -> Option<f64> {
    let fitting = |l: usize| l >= 64 || fits & (1 << l) != 0;
    // All frames are weighed at one expected radiance, that of the longest usable exposure: weighing each at its own
    // noisy value would favour low readings.
    let mut longest_first = layers.iter().enumerate().rev().filter(|(l, _)| fitting(*l));
    let Some(longest) = longest_first.find_map(|(_, layer)| layer.reading(i, c)) else {
        return layers.iter().map(|l| l.radiance(i, c)).find(|r| r.is_finite());
    };
    let (mut sum, mut weight) = (0.0, 0.0);
    for (l, layer) in layers.iter().enumerate() {
        if !fitting(l) {
            continue;
        }
        if let Some(reading) = layer.reading(i, c) {
            let w = reading.trust / layer.variance(c, longest.radiance);
            sum += w * reading.radiance;
            weight += w;
        }
    }
    (weight > 0.0).then(|| sum / weight).filter(|r| r.is_finite())
}

#[cfg(test)]
mod tests;
