//! A small square picture with unknown cells (NaN).

/// Values row by row.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) side: usize,
    pub(super) values: Vec<f32>,
}

impl Grid {
    /// Bilinear; NaN beside the picture or next to an unknown cell.
    #[inline]
    pub(super) fn between(&self, [x, y]: [f32; 2]) -> f32 {
        if !(x >= 0.0 && y >= 0.0) {
            return f32::NAN;
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.side || row + 1 >= self.side {
            return f32::NAN;
        }
        let (fx, fy) = (x - column as f32, y - row as f32);
        let first = row * self.side + column;
        let (top, bottom) = (&self.values[first..first + 2], &self.values[first + self.side..first + self.side + 2]);
        let upper = top[0] + (top[1] - top[0]) * fx;
        let lower = bottom[0] + (bottom[1] - bottom[0]) * fx;
        upper + (lower - upper) * fy
    }
}
