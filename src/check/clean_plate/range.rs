//! The clean pass as a second, slower take of the camera move: which of its frames fits each plate frame.

use std::collections::BTreeMap;

use serde_json::Value;

use super::super::{Addition, ShotEvidence, put};
use crate::Result;
use crate::base::units::Estimate;
use crate::findings::remedy::Ask;
use crate::findings::{Finding, Verdict};
use crate::image::Frame;
use crate::register::Thumbnail;
use crate::sheet::ImageSpec;

/// Frames of one take that are looked at, at most; a longer take is thinned evenly.
const MOST_FRAMES: usize = 400;
/// Frames of the clean take that the first search looks at.
const FIRST_LOOKS: usize = 24;
/// A fit this much worse than the one before it, px, and this many times as bad, has lost its way.
const LOST_PX: f64 = 2.0;
const LOST_TIMES: f64 = 3.0;

/// The best clean frame for each plate frame.
pub(super) struct Takes {
    /// The plate frame that is analysed in full and its best clean frame.
    pub(super) analysed: [ImageSpec; 2],
    pairs: Vec<Pair>,
    clean_ends: [u32; 2],
    thinned: bool,
}

#[derive(Clone, Copy)]
struct Pair {
    plate: u32,
    clean: u32,
    /// Absent where the two could not be registered.
    apart: Option<Estimate>,
}

/// Finds the best clean frames; `None` where the clean plate is a single frame.
///
/// # Errors
/// Where a frame cannot be read.
pub(super) fn best_frames(
    shot: &ShotEvidence<'_>,
    plate: &ImageSpec,
    clean: &ImageSpec,
    addition: &mut Addition,
) -> Result<Option<Takes>> {
    let Some(clean_numbers) = numbers(clean) else { return Ok(None) };
    let plate_numbers = numbers(plate).unwrap_or_else(|| vec![plate.frame_number.unwrap_or(0)]);
    let thinned = is_thinned(clean) || is_thinned(plate);
    let mut search = Search::new(shot, clean, clean_numbers);
    let mut pairs = Vec::new();
    for number in plate_numbers {
        let frame = (shot.open)(&numbered(plate, number), "plate")?;
        let (clean, apart) = search.best_for(&frame)?;
        pairs.push(Pair { plate: number, clean, apart });
    }
    addition.inputs.extend(search.inputs);
    let first = pairs.iter().find(|p| p.apart.is_some()).or(pairs.first()).copied();
    let Some(first) = first else { return Ok(None) };
    let analysed = [numbered(plate, first.plate), numbered(clean, first.clean)];
    let clean_ends = clean.frame_range.unwrap_or([first.clean; 2]);
    Ok(Some(Takes { analysed, pairs, clean_ends, thinned }))
}

/// The files of a take that may be looked at: of a single frame that one.
pub(crate) fn files_of_take(spec: &ImageSpec) -> Vec<String> {
    let one = || vec![spec.clone()];
    let frames = numbers(spec).map_or_else(one, |numbers| numbers.iter().map(|n| numbered(spec, *n)).collect());
    frames.iter().filter_map(|frame| frame.file_name().ok()).collect()
}

/// The numbers of a take; `None` for a single frame.
fn numbers(spec: &ImageSpec) -> Option<Vec<u32>> {
    let [first, last] = spec.frame_range.filter(|[first, last]| last > first && spec.frame_number.is_none())?;
    let count = (last - first) as usize + 1;
    let looks = count.min(MOST_FRAMES);
    Some((0..looks).map(|i| first + (i * (count - 1) / (looks - 1).max(1)) as u32).collect())
}

fn is_thinned(spec: &ImageSpec) -> bool {
    spec.frame_range.is_some_and(|[first, last]| last.saturating_sub(first) as usize >= MOST_FRAMES)
}

/// The entry for one frame of a take. An entry whose name has no place for the number stays as it is.
fn numbered(spec: &ImageSpec, number: u32) -> ImageSpec {
    let frame_number = if number == 0 { spec.frame_number } else { Some(number) };
    ImageSpec { frame_number, frame_range: if number == 0 { spec.frame_range } else { None }, ..spec.clone() }
}

struct Search<'a> {
    shot: &'a ShotEvidence<'a>,
    clean: &'a ImageSpec,
    numbers: Vec<u32>,
    thumbnails: BTreeMap<usize, Option<Thumbnail>>,
    inputs: Vec<crate::findings::InputRecord>,
    /// Place of the last find, how far it was from the one before, and how well it fitted.
    last: Option<(usize, i64, f64)>,
}

impl<'a> Search<'a> {
    fn new(shot: &'a ShotEvidence<'a>, clean: &'a ImageSpec, numbers: Vec<u32>) -> Self {
        Self { shot, clean, numbers, thumbnails: BTreeMap::new(), inputs: Vec::new(), last: None }
    }

    /// Number of the clean frame that lies closest to a plate frame, and how close.
    fn best_for(&mut self, plate: &Frame) -> Result<(u32, Option<Estimate>)> {
        let Some(plate) = Thumbnail::of(plate) else { return Ok((self.numbers[0], None)) };
        let mut costs = BTreeMap::new();
        let mut place = match self.last {
            Some((place, step, _)) => self.descend(&plate, self.clamped(place as i64 + step), 2, &mut costs)?,
            None => self.anywhere(&plate, &mut costs)?,
        };
        let fit = |costs: &BTreeMap<usize, Option<Estimate>>, place: usize| {
            costs.get(&place).copied().flatten().map_or(f64::INFINITY, |e| e.value)
        };
        let cost = fit(&costs, place);
        if self.last.is_some_and(|(_, _, before)| cost > LOST_PX + LOST_TIMES * before) {
            place = self.anywhere(&plate, &mut costs)?;
        }
        let step = self.last.map_or(0, |(before, _, _)| place as i64 - before as i64);
        let cost = fit(&costs, place);
        self.last = cost.is_finite().then_some((place, step, cost));
        Ok((self.numbers[place], costs.get(&place).copied().flatten()))
    }

    /// Looks at frames all over the take, then closes in.
    fn anywhere(&mut self, plate: &Thumbnail, costs: &mut BTreeMap<usize, Option<Estimate>>) -> Result<usize> {
        let stride = (self.numbers.len() / FIRST_LOOKS).max(1);
        for place in (0..self.numbers.len()).step_by(stride) {
            self.cost(plate, place, costs)?;
        }
        let start = best_of(costs).unwrap_or(0);
        self.descend(plate, start, stride, costs)
    }

    /// Walks downhill with ever smaller strides.
    fn descend(
        &mut self,
        plate: &Thumbnail,
        start: usize,
        stride: usize,
        costs: &mut BTreeMap<usize, Option<Estimate>>,
    ) -> Result<usize> {
        let (mut place, mut stride) = (start, stride.max(1) as i64);
        self.cost(plate, place, costs)?;
        loop {
            for side in [-stride, stride] {
                let next = self.clamped(place as i64 + side);
                self.cost(plate, next, costs)?;
            }
            let best = best_of(costs).unwrap_or(place);
            if best == place && stride == 1 {
                return Ok(place);
            }
            stride = if best == place { stride / 2 } else { stride };
            place = best;
        }
    }

    fn clamped(&self, place: i64) -> usize {
        place.clamp(0, self.numbers.len() as i64 - 1) as usize
    }

    fn cost(&mut self, plate: &Thumbnail, place: usize, costs: &mut BTreeMap<usize, Option<Estimate>>) -> Result<()> {
        if costs.contains_key(&place) {
            return Ok(());
        }
        if !self.thumbnails.contains_key(&place) {
            let frame = (self.shot.open)(&numbered(self.clean, self.numbers[place]), "clean-plate")?;
            self.inputs.push(frame.record.clone());
            self.thumbnails.insert(place, Thumbnail::of(&frame));
        }
        let clean = self.thumbnails.get(&place).and_then(Option::as_ref);
        let apart = clean.and_then(|clean| plate.misregistration_px(clean).ok());
        costs.insert(place, apart);
        Ok(())
    }
}

/// The place that fits best of those looked at.
fn best_of(costs: &BTreeMap<usize, Option<Estimate>>) -> Option<usize> {
    let found = costs.iter().filter_map(|(place, cost)| Some((*place, (*cost)?.value)));
    found.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(place, _)| place)
}

impl Takes {
    /// Writes the pairs into the finding; its value becomes that of the worst pair.
    pub(super) fn tell(&self, finding: &mut Finding) {
        let list = |number: &dyn Fn(&Pair) -> Value| Value::from(self.pairs.iter().map(number).collect::<Vec<_>>());
        let of = |part: fn(Estimate) -> f64| move |p: &Pair| p.apart.map_or(Value::Null, |e| part(e).into());
        let detail = &mut finding.detail;
        detail.insert("plate_frames".to_owned(), list(&|p| p.plate.into()));
        detail.insert("best_clean_frames".to_owned(), list(&|p| p.clean.into()));
        detail.insert("pair_misregistration_px".to_owned(), list(&of(|e| e.value)));
        detail.insert("pair_misregistration_px_sd".to_owned(), list(&of(|e| e.sd)));
        if let Some(first) = self.pairs.iter().find(|p| p.apart.is_some()) {
            detail.insert("analysed_frames".to_owned(), vec![first.plate, first.clean].into());
        }
        self.tell_worst(finding);
        for remark in self.remarks() {
            let glue = if finding.reason.is_empty() { "" } else { "; " };
            finding.reason = format!("{}{glue}{remark}", finding.reason);
        }
    }

    fn tell_worst(&self, finding: &mut Finding) {
        let measured = self.pairs.iter().filter_map(|p| p.apart);
        let Some(worst) = measured.max_by(|a, b| a.value.total_cmp(&b.value)) else { return };
        // The analysed pair is measured at full resolution, the others on thumbnails.
        if finding.value.is_some_and(|v| worst.value - worst.sd <= v) && self.pairs.len() == 1 {
            return;
        }
        put(&mut finding.detail, "worst_pair_px", worst);
        if finding.value.is_none_or(|v| v < worst.value) {
            finding.value = Some(worst.value);
            finding.value_sd = Some(worst.sd);
        }
        let verdict = super::super::decide(worst, finding.tolerance);
        finding.verdict = finding.verdict.max(verdict);
        if verdict == Verdict::Mismatch && finding.remedy.is_empty() {
            finding.remedy = Ask::CleanFrameForEach.into();
        }
    }

    fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        let unmatched: Vec<String> =
            self.pairs.iter().filter(|p| p.apart.is_none()).map(|p| p.plate.to_string()).collect();
        if !unmatched.is_empty() {
            remarks.push(format!("no clean frame could be registered to plate frame {}", unmatched.join(", ")));
        }
        let at_end =
            |p: &&Pair| self.clean_ends.contains(&p.clean) && p.apart.is_some_and(|a| a.value > 2.0 * a.sd + 1.0);
        if let Some(pair) = self.pairs.iter().find(at_end) {
            remarks.push(format!(
                "the clean pass ends (frame {}) before it reaches plate frame {}",
                pair.clean, pair.plate
            ));
        }
        if self.thinned {
            remarks.push(format!("only {MOST_FRAMES} frames of the longer take were examined, evenly spread"));
        }
        remarks
    }
}
