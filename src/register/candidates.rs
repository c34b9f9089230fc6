//! Which of several coarse shifts the pictures support, and whether another would do as well.

use super::plane::Plane;

/// The best whole-pixel shift.
#[derive(Debug, Clone, Copy)]
pub(super) struct Choice {
    /// `moving(x + d) ≈ fixed(x)`, whole pixels.
    pub(super) shift: [i64; 2],
    /// Correlation coefficient there.
    pub(super) correlation: f64,
    /// Another shift that is supported as well: the picture repeats itself.
    pub(super) rival: Option<[i64; 2]>,
}

/// Compares the pictures (without their coarse brightness) at each shift. `None` where nothing overlaps enough.
pub(super) fn choose(fixed: &Plane, moving: &Plane, shifts: &[[i64; 2]]) -> Option<Choice> {
    let mut scored: Vec<([i64; 2], f64)> =
        shifts.iter().filter_map(|s| Some((*s, correlation(fixed, moving, *s)?))).collect();
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let &(shift, best) = scored.first()?;
    let rival = scored.iter().skip(1).find(|(other, score)| {
        let as_good = 1.0 - score < 1.5 * (1.0 - best) + 0.005;
        as_good && is_separate(fixed, moving, shift, *other, *score)
    });
    Some(Choice { shift, correlation: best, rival: rival.map(|(s, _)| *s) })
}

/// Two shifts are different answers, not one broad peak, when the correlation dips between them.
fn is_separate(fixed: &Plane, moving: &Plane, a: [i64; 2], b: [i64; 2], score: f64) -> bool {
    let apart = (a[0] - b[0]).abs().max((a[1] - b[1]).abs());
    let middle = [i64::midpoint(a[0], b[0]), i64::midpoint(a[1], b[1])];
    apart > 2 && correlation(fixed, moving, middle).is_none_or(|between| between < 0.8 * score)
}

/// Correlation coefficient over the overlap at one shift; `None` where under a fifth of the picture overlaps.
fn correlation(fixed: &Plane, moving: &Plane, shift: [i64; 2]) -> Option<f64> {
    let (mut n, mut f1, mut m1, mut ff, mut mm, mut fm) = (0usize, 0.0, 0.0, 0.0, 0.0, 0.0);
    for y in 0..fixed.height() as i64 {
        for x in 0..fixed.width() as i64 {
            let (f, m) = (f64::from(fixed.at(x, y)), f64::from(moving.at(x + shift[0], y + shift[1])));
            if (f + m).is_finite() {
                n += 1;
                f1 += f;
                m1 += m;
                ff += f * f;
                mm += m * m;
                fm += f * m;
            }
        }
    }
    if 5 * n < fixed.values().len() || n < 100 {
        return None;
    }
    let n = n as f64;
    let (vf, vm) = (ff - f1 * f1 / n, mm - m1 * m1 / n);
    (vf > 0.0 && vm > 0.0).then(|| (fm - f1 * m1 / n) / (vf * vm).sqrt())
}
