//! Ceilings that nobody stated, and what is said of a shot where it stays open whether its photograph is cut off.

use crate::compare::Comparison;
use crate::compare::shared::{median_stops, shared_directions};
use crate::compare::uncertainty::clipping;
use crate::findings::remedy::{Ask, Condition};
use crate::findings::{Finding, Report, Verdict};
use crate::image::{Ceiling, DISPLAY_WHITE, Frame, ceiling, plateau};
use crate::register::bracket::BracketFrame;
use crate::sphere::{Outline, SphereFit};

/// Registration mixes pixels; what stood at the ceiling is this far below it or less.
const BELOW_MERGED: f32 = 0.99;

/// A plateau this far below a stated ceiling is another one.
const CLEARLY_BELOW: f32 = 0.9;

/// The rim is mixed with what stands behind; this part of the radius is looked at.
const INSIDE: f64 = 0.98;

/// Light of the CG above the suspected level, as a part of what a patch that faces it receives, from which on the level matters.
const MATTERS_SHARE: f64 = 0.02;

/// The CG's light has to exceed the level by this, stops: blur and noise of the photograph lower its peaks.
const CLEARLY_ABOVE_STOPS: f64 = 0.25;

/// Advice that changes a light by more than this needs evidence beyond the doubt about the ceiling, stops.
const BOLD_STOPS: f64 = 2.0;

/// Sets the ceiling of a photographed sphere where the picture leaves no doubt of it. Gives the level where it does leave doubt
/// and the sheet does not settle it.
pub(super) fn of_photograph(
    frame: &mut Frame,
    fit: &SphereFit,
    stated_in_sheet: bool,
    report: &mut Report,
) -> Option<[f32; 3]> {
    let within = fit.outline.within(INSIDE);
    let found = ceiling(frame, |x, y| within([x as f64 + 0.5, y as f64 + 0.5]))?;
    let Ceiling { level, pixels, certain } = found;
    match frame.clip_level {
        Some(stated) if !level.iter().zip(stated).all(|(l, s)| l.is_infinite() || *l < CLEARLY_BELOW * s) => {
            return None;
        }
        Some(_) if !certain && stated_in_sheet => return None,
        _ => {}
    }
    if !certain {
        return Some(level);
    }
    say(frame, level, pixels, report);
    if stated_in_sheet && frame.clip_level.is_some() {
        report.warnings.push(format!(
            "{}: the stated clip_level lies above the level at which the picture is cut off, and gives way to that",
            frame.record.file
        ));
    }
    frame.clip_level = Some(level);
    None
}

/// The level, as radiance of the merged picture, at which the shortest exposure of a linear bracket may be cut off: nothing shorter
/// shows whether more was there. `None` where its ceiling is known or nothing hints at one.
pub(super) fn of_shortest(frames: &[BracketFrame]) -> Option<[f32; 3]> {
    let shortest = frames.iter().min_by(|a, b| a.stops.0.total_cmp(&b.stops.0))?;
    if shortest.frame.clip_level.is_some() || shortest.frame.is_display_picture() {
        return None;
    }
    let found = ceiling(&shortest.frame, |_, _| true)?;
    Some(found.level.map(|level| BELOW_MERGED * level / shortest.stops.ratio() as f32))
}

/// Sets the ceiling of a rendered sphere that was cut off below what its file allows. Gives whether it ends at display white.
pub(super) fn of_render(frame: &mut Frame, fit: &SphereFit, report: &mut Report) -> bool {
    if frame.integer_bits.is_some() {
        return false;
    }
    let below_stated = |level: &[f32; 3]| {
        frame.clip_level.is_none_or(|stated| level.iter().zip(stated).all(|(l, s)| *l < CLEARLY_BELOW * s))
    };
    let found = plateau(frame, window(&fit.outline)).filter(|(level, _)| below_stated(level));
    let Some((level, pixels)) = found else { return false };
    say(frame, level, pixels, report);
    frame.clip_level = Some(clipping::recorded_ceiling(level, frame.format));
    level == [DISPLAY_WHITE; 3]
}

fn window(o: &Outline) -> [i64; 4] {
    let reach = o.semi_a.max(o.semi_b);
    [o.centre_x - reach, o.centre_y - reach, o.centre_x + reach, o.centre_y + reach].map(|v| v as i64)
}

fn say(frame: &Frame, level: [f32; 3], pixels: usize, report: &mut Report) {
    report.warnings.push(format!(
        "{}: {pixels} pixels of the sphere have exactly the highest value ({}) and are treated as clipped",
        frame.record.file,
        level_words(level)
    ));
}

/// The level in words, channels without one left out.
pub(super) fn level_words(level: [f32; 3]) -> String {
    let of = |(name, level): (&str, f32)| level.is_finite().then(|| format!("{name} {level:.4}"));
    ["R", "G", "B"].into_iter().zip(level).filter_map(of).collect::<Vec<_>>().join(" ")
}

/// Whether a suspected level decides anything: the CG shows light above all that the photograph does, its exposure undone. An even
/// panel that both show alike is none the worse for being taken as whole.
pub(super) fn matters(whole: &Comparison) -> bool {
    let (mirror, cg) = (&whole.mirror, &whole.cg);
    let shared = shared_directions(mirror, cg, whole.rotation.as_ref());
    let exposure = median_stops(&shared).map_or(0.0, |m| m.0);
    let top = mirror.image.samples.iter().flatten().map(|s| f64::from(s.luminance)).fold(0.0, f64::max);
    let limit = top * (exposure + CLEARLY_ABOVE_STOPS).exp2();
    let (mut above, mut all) = (0.0, 0.0);
    for sample in cg.image.samples.iter().flatten() {
        let luminance = f64::from(sample.luminance);
        above += (luminance - limit).max(0.0) * sample.steradian;
        all += luminance * sample.steradian;
    }
    // A patch receives a quarter of what comes evenly from all round.
    above > MATTERS_SHARE * (0.25 * (all - above) + above)
}

/// What holds whether the photograph is cut off or not: `cut` as found under the suspected level, `whole` without. Where the two
/// disagree nothing is decided, and the level is asked for.
pub(super) fn two_readings(cut: Vec<Finding>, whole: &[Finding], file: &str, level: [f32; 3]) -> Vec<Finding> {
    let settle = |mut finding: Finding| {
        let Some(other) = whole.iter().find(|o| o.check == finding.check && o.mirror == finding.mirror) else {
            return finding;
        };
        if finding.verdict == other.verdict && finding.verdict != Verdict::Unsure {
            return milder(&finding, other);
        }
        if finding.remedy == other.remedy && finding.remedy.comes_before_light() {
            return finding;
        }
        let undecided = finding.verdict == Verdict::Unsure && other.verdict == Verdict::Unsure;
        finding.verdict = Verdict::Unsure;
        if undecided {
            return finding;
        }
        finding.reason = format!(
            "{file} may be clipped at {}, or show an even light of that brightness, and the verdict depends on it",
            level_words(level)
        );
        finding.remedy = Ask::ClipLevel.into();
        finding
    };
    cut.into_iter().map(settle).collect()
}

/// Of two readings of one fault the smaller one, and no bold advice that only one of them gives.
fn milder(cut: &Finding, whole: &Finding) -> Finding {
    let size = |f: &Finding| f.value.map_or(0.0, f64::abs);
    let mut milder = if size(whole) < size(cut) { whole.clone() } else { cut.clone() };
    if milder.unit == "stops" && (size(cut) - size(whole)).abs() > BOLD_STOPS {
        milder.value_bound = Some("lower".to_owned());
    }
    if milder.verdict == Verdict::Mismatch && cut.remedy != whole.remedy {
        milder.remedy.hold(Condition::ClipLevelOpen);
    }
    milder
}
