//! One- and three-dimensional tables.

/// A table for each channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table1d {
    pub(super) entries: Vec<[f64; 3]>,
    /// Entries stand at the 65 536 half floats instead of at even steps over 0..1.
    pub(super) half_domain: bool,
}

impl Table1d {
    pub(super) fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        [0, 1, 2].map(|c| if self.half_domain { self.by_half(v[c], c) } else { self.even(v[c], c) })
    }

    fn even(&self, value: f64, channel: usize) -> f64 {
        let last = self.entries.len() - 1;
        let place = value.clamp(0.0, 1.0) * last as f64;
        let low = (place as usize).min(last.saturating_sub(1));
        mix(self.entries[low][channel], self.entries[(low + 1).min(last)][channel], place - low as f64)
    }

    /// Between the two half floats around a value.
    fn by_half(&self, value: f64, channel: usize) -> f64 {
        let nearest = half::f16::from_f64(value.clamp(-65504.0, 65504.0));
        let entry = |code: u16| self.entries[usize::from(code)][channel];
        let (code, rest) = (nearest.to_bits(), value - nearest.to_f64());
        if rest == 0.0 || value.abs() >= 65504.0 {
            return entry(code);
        }
        // One code further from zero is further out, on either side of zero.
        let outwards = rest.signum() == value.signum();
        let other = if outwards { code.saturating_add(1) } else { code.wrapping_sub(1) };
        let step = half::f16::from_bits(other).to_f64() - nearest.to_f64();
        if step == 0.0 || !step.is_finite() {
            return entry(code);
        }
        mix(entry(code), entry(other), (rest / step).clamp(0.0, 1.0))
    }
}

/// A cube; blue runs fastest.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table3d {
    pub(super) side: usize,
    pub(super) entries: Vec<[f64; 3]>,
    pub(super) tetrahedral: bool,
}

impl Table3d {
    pub(super) fn apply(&self, v: [f64; 3]) -> [f64; 3] {
        let last = self.side - 1;
        let place = v.map(|v| v.clamp(0.0, 1.0) * last as f64);
        let low = place.map(|p| (p as usize).min(last.saturating_sub(1)));
        let t = [0, 1, 2].map(|i| place[i] - low[i] as f64);
        if self.tetrahedral { self.tetrahedron(low, t) } else { self.cube(low, t) }
    }

    fn corner(&self, low: [usize; 3], up: [usize; 3]) -> [f64; 3] {
        let at = [0, 1, 2].map(|i| (low[i] + up[i]).min(self.side - 1));
        self.entries[(at[0] * self.side + at[1]) * self.side + at[2]]
    }

    fn cube(&self, low: [usize; 3], t: [f64; 3]) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for corner in 0..8 {
            let up = [corner >> 2, (corner >> 1) & 1, corner & 1];
            let weight: f64 = (0..3).map(|i| if up[i] == 1 { t[i] } else { 1.0 - t[i] }).product();
            let entry = self.corner(low, up);
            (0..3).for_each(|c| sum[c] += weight * entry[c]);
        }
        sum
    }

    /// The walk from the lowest corner to the highest, along the largest fraction first.
    fn tetrahedron(&self, low: [usize; 3], t: [f64; 3]) -> [f64; 3] {
        let mut order = [0, 1, 2];
        order.sort_by(|a, b| t[*b].total_cmp(&t[*a]));
        let mut up = [0; 3];
        let mut value = self.corner(low, up);
        for axis in order {
            let before = self.corner(low, up);
            up[axis] = 1;
            let after = self.corner(low, up);
            (0..3).for_each(|c| value[c] += t[axis] * (after[c] - before[c]));
        }
        value
    }
}

fn mix(a: f64, b: f64, t: f64) -> f64 {
    a + (b - a) * t
}
