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
        let as_good = 1.0 - score < 1.5 * (1.0 - best) + 0.005 && *score > 0.85 * best;
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

/// Side of the blocks that vote, px.
const BLOCK: usize = 16;

/// Mean correlation coefficient of the blocks of the fixed picture with the moving one at a shift, weighted by how
/// much detail (amplitude, not energy) a block has: one contrasty thing that moved has no more say than its share.
/// `None` where under a fifth of the picture overlaps.
fn correlation(fixed: &Plane, moving: &Plane, shift: [i64; 2]) -> Option<f64> {
    let (mut pixels, mut sum, mut weight) = (0, 0.0, 0.0);
    for y in (0..fixed.height()).step_by(BLOCK) {
        for x in (0..fixed.width()).step_by(BLOCK) {
            let block = Block::of(fixed, moving, [x as i64, y as i64], shift);
            if let Some((coefficient, amplitude)) = block.correlation() {
                pixels += block.n;
                sum += coefficient * amplitude;
                weight += amplitude;
            }
        }
    }
    (5 * pixels >= fixed.values().len() && weight > 0.0).then(|| sum / weight)
}

/// Sums over the pixels of one block that both pictures have.
#[derive(Default)]
struct Block {
    n: usize,
    f: f64,
    m: f64,
    ff: f64,
    mm: f64,
    fm: f64,
}

impl Block {
    fn of(fixed: &Plane, moving: &Plane, corner: [i64; 2], shift: [i64; 2]) -> Self {
        let mut sums = Self::default();
        for y in corner[1]..corner[1] + BLOCK as i64 {
            for x in corner[0]..corner[0] + BLOCK as i64 {
                let (f, m) = (f64::from(fixed.at(x, y)), f64::from(moving.at(x + shift[0], y + shift[1])));
                if (f + m).is_finite() {
                    sums.n += 1;
                    sums.f += f;
                    sums.m += m;
                    sums.ff += f * f;
                    sums.mm += m * m;
                    sums.fm += f * m;
                }
            }
        }
        sums
    }

    /// Correlation coefficient and common amplitude; `None` for a block that is mostly hidden or has no detail at all.
    fn correlation(&self) -> Option<(f64, f64)> {
        let n = self.n as f64;
        let (vf, vm) = (self.ff - self.f * self.f / n, self.mm - self.m * self.m / n);
        let usable = 4 * self.n >= BLOCK * BLOCK && vf > 0.0 && vm > 0.0;
        usable.then(|| ((self.fm - self.f * self.m / n) / (vf * vm).sqrt(), (vf * vm).powf(0.25)))
    }
}
