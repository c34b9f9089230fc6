//! How a movie asks to be turned before it is shown (ISO/IEC 14496-12, matrix of a track).

/// Whole quarter turns and mirrorings: where a stored step to the right and a stored step down go, as columns and rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Turn {
    right: [i8; 2],
    down: [i8; 2],
}

impl Turn {
    /// As stored.
    pub(super) const NONE: Self = Self { right: [1, 0], down: [0, 1] };

    /// From the first two columns of the matrix's first two rows; `None` for a turn that is no quarter turn.
    pub(super) fn of_matrix([a, b, c, d]: [i64; 4]) -> Option<Self> {
        let turn = Self { right: [a, b].map(|v| v.signum() as i8), down: [c, d].map(|v| v.signum() as i8) };
        let straight = |[x, y]: [i8; 2]| (x == 0) != (y == 0);
        let across = (turn.right[0] == 0) != (turn.down[0] == 0);
        (straight(turn.right) && straight(turn.down) && across).then_some(turn)
    }

    /// From the lines that ffprobe prints a matrix as.
    pub(super) fn of_text(text: &str) -> Option<Self> {
        let rows: Vec<Vec<i64>> = text
            .lines()
            .filter_map(|line| line.split_once(':'))
            .map(|(_, numbers)| numbers.split_whitespace().filter_map(|number| number.parse().ok()).collect())
            .collect();
        match (rows.first()?.as_slice(), rows.get(1)?.as_slice()) {
            ([a, b, ..], [c, d, ..]) => Self::of_matrix([*a, *b, *c, *d]),
            _ => None,
        }
    }

    /// Columns become rows.
    pub(super) fn swaps(self) -> bool {
        self.right[0] == 0
    }

    /// Degrees clockwise, for people.
    pub(super) fn words(self) -> String {
        let degrees = match self.right {
            [1, _] => 0,
            [_, 1] => 90,
            [-1, _] => 180,
            _ => 270,
        };
        let mirrored = self.right[0] * self.down[1] - self.right[1] * self.down[0] < 0;
        if mirrored {
            format!("mirrored and turned by {degrees} deg")
        } else {
            format!("turned by {degrees} deg clockwise")
        }
    }

    /// The picture as it is shown, with its columns and rows.
    pub(super) fn apply<T: Copy + Default>(self, pixels: Vec<T>, [width, height]: [usize; 2]) -> (Vec<T>, [usize; 2]) {
        if self == Self::NONE {
            return (pixels, [width, height]);
        }
        let size = if self.swaps() { [height, width] } else { [width, height] };
        let mut turned = vec![T::default(); pixels.len()];
        let place = |along: [i8; 2], count: usize, i: usize, axis: usize| match along[axis] {
            1 => i,
            -1 => count - 1 - i,
            _ => 0,
        };
        for row in 0..height {
            for column in 0..width {
                let at = |axis| place(self.right, width, column, axis) + place(self.down, height, row, axis);
                turned[at(1) * size[0] + at(0)] = pixels[row * width + column];
            }
        }
        (turned, size)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: i64 = 65_536;

    #[test]
    fn quarter_turns_and_mirrorings_move_pixels() {
        // 1 2 3
        // 4 5 6
        let pixels = || vec![1, 2, 3, 4, 5, 6];
        let turned = |matrix| Turn::of_matrix(matrix).unwrap().apply(pixels(), [3, 2]);
        assert_eq!(turned([ONE, 0, 0, ONE]), (pixels(), [3, 2]));
        assert_eq!(turned([0, ONE, -ONE, 0]), (vec![4, 1, 5, 2, 6, 3], [2, 3]), "a quarter clockwise");
        assert_eq!(turned([-ONE, 0, 0, -ONE]), (vec![6, 5, 4, 3, 2, 1], [3, 2]));
        assert_eq!(turned([0, -ONE, ONE, 0]), (vec![3, 6, 2, 5, 1, 4], [2, 3]));
        assert_eq!(turned([-ONE, 0, 0, ONE]), (vec![3, 2, 1, 6, 5, 4], [3, 2]), "mirrored");
        assert_eq!(Turn::of_matrix([ONE, ONE, -ONE, ONE]), None, "an eighth");
        assert_eq!(Turn::of_matrix([0, 0, 0, 0]), None);
    }

    #[test]
    fn the_printed_matrix_is_read() {
        let text = "\n00000000:            0       65536           0\n00000001:       -65536           0           0\n00000002:            0           0  1073741824\n";
        let turn = Turn::of_text(text).unwrap();
        assert_eq!(turn.words(), "turned by 90 deg clockwise");
        assert!(turn.swaps() && Turn::of_text("").is_none());
    }
}
