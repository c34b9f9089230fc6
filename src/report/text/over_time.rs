//! The part of the text report about a moving shot.

use super::super::wording::prose;
use super::{Page, cell};
use crate::findings::numbers::number_words;
use crate::findings::{Curve, FrameValue, Report, SequenceReport, ShotVerdict, Verdict};
use crate::printable_text;

/// Frames listed one by one; the JSON report has them all.
const FRAMES_SHOWN: usize = 12;

/// Every check's range over time, then the frames that are worst.
pub(super) fn over_time(page: &mut Page, report: &Report) {
    let Some(sequence) = &report.sequence else { return };
    page.heading(&format!(
        "OVER TIME (frames {} to {}, {} samples; but for what says so, all else is of frame {})",
        sequence.first_frame,
        sequence.last_frame,
        sequence.frames.len(),
        sequence.worst_frame
    ));
    page.line("  check                       least     most              furthest out");
    let unmeasured: Vec<String> =
        sequence.curves().into_iter().filter_map(|curve| curve_row(page, sequence, curve)).collect();
    if !unmeasured.is_empty() {
        page.paragraph("  not measured: ", &unmeasured.join(", "));
    }
    let bad: Vec<_> = sequence.frames.iter().filter(|frame| frame.verdict != ShotVerdict::Match).collect();
    let words: Vec<String> = bad
        .iter()
        .take(FRAMES_SHOWN)
        .map(|frame| match &frame.error {
            Some(why) => format!("{} error ({})", frame.frame, prose(why)),
            None => format!("{} {}", frame.frame, frame.verdict.word()),
        })
        .collect();
    let more = bad.len().saturating_sub(FRAMES_SHOWN);
    let more = if more > 0 { format!(" and {more} more in the JSON report") } else { String::new() };
    let text = if bad.is_empty() { "every sample matches".to_owned() } else { words.join(", ") + &more };
    page.paragraph("  frames: ", &text);
}

/// The row of a curve; its name alone where nothing was measured.
fn curve_row(page: &mut Page, sequence: &SequenceReport, curve: Curve<'_>) -> Option<String> {
    let points = sequence.points(curve);
    let name = page.naming.name_of_curve(curve);
    let measured = |(frame, value): &(u32, &FrameValue)| value.value.map(|number| (*frame, number));
    let numbers: Vec<(u32, f64)> = points.iter().filter_map(measured).collect();
    let (Some(least), Some(most)) =
        (numbers.iter().min_by(|a, b| a.1.total_cmp(&b.1)), numbers.iter().max_by(|a, b| a.1.total_cmp(&b.1)))
    else {
        return Some(name);
    };
    let off = points.iter().filter(|(_, value)| value.verdict == Verdict::Mismatch).count();
    let unit = points.first().map_or("", |(_, value)| value.unit.as_str());
    let words = |number: f64| number_words(number, None, unit, unit != "deg");
    let worst = numbers.iter().rev().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap_or(most);
    let off = if off > 0 { format!(", {off} off") } else { String::new() };
    let [name, least, most] =
        [(name, 28), (words(least.1), 10), (words(most.1), 10)].map(|(text, columns)| cell(&text, columns));
    let unit = printable_text(unit);
    page.line(&format!("  {name}{least}{most}{unit:<6}  frame {}{off}", worst.0));
    None
}
