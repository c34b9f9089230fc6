//! The mosaic of colours on a sensor, and the blocks of photosites that make a pixel.
//!
//! A pixel is the mean of a block that holds all three colours: 2 × 2 photosites of a Bayer mosaic, 3 × 3 of an X-Trans one.
//! Nothing is made up between photosites, so every value is one that was measured, and whether it clipped is known.

/// Sides of blocks that are tried, photosites.
const SIDES: [usize; 4] = [2, 3, 4, 6];

/// A pattern that repeats over the sensor from its first stored photosite on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Mosaic {
    pub(super) width: usize,
    pub(super) height: usize,
    /// 0 red, 1 green, 2 blue, row by row.
    pub(super) colours: Vec<u8>,
}

impl Mosaic {
    /// Colour of a photosite.
    pub(super) fn at(&self, x: usize, y: usize) -> usize {
        usize::from(self.colours[y % self.height * self.width + x % self.width])
    }

    /// Side of the smallest block that holds all three colours wherever it lies; `None` where there are other colours.
    pub(super) fn block(&self) -> Option<usize> {
        let whole = self.width > 0 && self.height > 0 && self.colours.len() == self.width * self.height;
        if !whole || self.colours.iter().any(|colour| *colour > 2) {
            return None;
        }
        SIDES.into_iter().find(|side| self.everywhere().all(|at| self.counts(at, *side).iter().all(|n| *n > 0)))
    }

    /// Where the first block begins, as near to `first` as it can to the right of it and below, so that the middles of the three
    /// colours lie nearest to each other.
    pub(super) fn first_block(&self, side: usize, [x, y]: [usize; 2]) -> [usize; 2] {
        let places = (0..side * side).map(|i| [x + i % side, y + i / side]);
        let spread = |at: &[usize; 2]| self.spread(*at, side);
        places.min_by(|a, b| spread(a).total_cmp(&spread(b))).unwrap_or([x, y])
    }

    fn everywhere(&self) -> impl Iterator<Item = [usize; 2]> + '_ {
        (0..self.width * self.height).map(|i| [i % self.width, i / self.width])
    }

    fn counts(&self, [x, y]: [usize; 2], side: usize) -> [usize; 3] {
        let mut counts = [0; 3];
        for i in 0..side * side {
            counts[self.at(x + i % side, y + i / side)] += 1;
        }
        counts
    }

    /// Sum over all blocks of a period, of how far (squared) the middle of each colour lies from the block's own.
    fn spread(&self, [x, y]: [usize; 2], side: usize) -> f64 {
        let middle = (side as f64 - 1.0) / 2.0;
        let mut sum = 0.0;
        for block in 0..self.width * self.height {
            let start = [x + side * (block % self.width), y + side * (block / self.width)];
            let counts = self.counts(start, side);
            let mut off = [[0.0; 2]; 3];
            for i in 0..side * side {
                let colour = self.at(start[0] + i % side, start[1] + i / side);
                off[colour][0] += ((i % side) as f64 - middle) / counts[colour] as f64;
                off[colour][1] += ((i / side) as f64 - middle) / counts[colour] as f64;
            }
            sum += off.iter().map(|[a, b]| a * a + b * b).sum::<f64>();
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mosaic(width: usize, rows: &str) -> Mosaic {
        let colour = |letter| "RGB".find(letter).unwrap_or(3) as u8;
        let colours: Vec<u8> = rows.chars().filter(|c| *c != '/').map(colour).collect();
        Mosaic { width, height: colours.len() / width, colours }
    }

    #[test]
    fn bayer_takes_two_and_x_trans_three() {
        assert_eq!(mosaic(2, "RG/GB").block(), Some(2));
        assert_eq!(mosaic(2, "GB/RG").block(), Some(2));
        let x_trans = mosaic(6, "GBGGRG/RGRBGB/GBGGRG/GRGGBG/BGBRGR/GRGGBG");
        assert_eq!(x_trans.block(), Some(3));
        // Where every block is a cross of green with red and blue between, all middles are one.
        assert_eq!(x_trans.first_block(3, [0, 0]), [0, 0]);
        assert_eq!(x_trans.first_block(3, [2, 4]), [3, 6]);
        assert!(x_trans.spread([3, 6], 3) < 1e-12 && x_trans.spread([2, 4], 3) > 0.1);
    }

    #[test]
    fn other_colours_have_no_block() {
        assert_eq!(mosaic(2, "RG/EB").block(), None);
        assert_eq!(mosaic(2, "RG/GG").block(), None);
        assert_eq!(Mosaic { width: 0, height: 0, colours: vec![] }.block(), None);
    }
}
