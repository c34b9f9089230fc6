//! A watershed: splits a picture of luminances into basins, one per local maximum that stands out from its neighbours.
//!
//! The picture is flooded from the brightest cell down. A basin that meets a brighter one is kept apart only if its
//! top stands out from the pass between them; else it is a ripple and joins the brighter one (topological
//! persistence on a logarithmic scale).

/// A basin must stand out from the pass to a brighter neighbour by this much, stops.
const MIN_PROMINENCE_STOPS: f64 = 0.6;

/// No cell.
pub(super) const NONE: u32 = u32::MAX;

/// One basin.
#[derive(Debug, Clone, Copy)]
pub(super) struct Basin {
    /// Index of its brightest cell.
    pub(super) peak_cell: usize,
    /// Luminance there.
    pub(super) peak: f64,
}

/// The basins, and for each cell the basin it belongs to (`NONE` off the picture).
#[derive(Debug)]
pub(super) struct Basins {
    pub(super) basins: Vec<Basin>,
    pub(super) label: Vec<u32>,
}

struct Flood<'a> {
    values: &'a [f32],
    basins: Vec<Basin>,
    /// Basin → basin it was absorbed by, or itself.
    absorbed_by: Vec<u32>,
    /// Component → component it is joined to, or itself. Components carry the same numbers as basins.
    joined_to: Vec<u32>,
    label: Vec<u32>,
}

/// Finds the basins of a `width`-wide picture. Cells that are not finite or not above `floor` are left out.
pub(super) fn find_basins(values: &[f32], width: usize, floor: f32) -> Basins {
    let mut order: Vec<u32> = (0..values.len() as u32).filter(|i| values[*i as usize] > floor).collect();
    order.sort_unstable_by(|a, b| values[*b as usize].total_cmp(&values[*a as usize]).then(a.cmp(b)));
    let mut flood = Flood {
        values,
        basins: Vec::new(),
        absorbed_by: Vec::new(),
        joined_to: Vec::new(),
        label: vec![NONE; values.len()],
    };
    for cell in order {
        flood.visit(cell as usize, width);
    }
    flood.finish()
}

fn root(parents: &mut [u32], start: u32) -> u32 {
    let mut at = start;
    while parents[at as usize] != at {
        parents[at as usize] = parents[parents[at as usize] as usize];
        at = parents[at as usize];
    }
    at
}

/// The eight neighbours of a cell that lie inside the picture.
pub(super) fn neighbours(cell: usize, width: usize, len: usize) -> impl Iterator<Item = usize> {
    let (column, row) = ((cell % width) as i64, (cell / width) as i64);
    let height = (len / width) as i64;
    (-1..=1).flat_map(move |dy| (-1..=1).map(move |dx| (dx, dy))).filter_map(move |(dx, dy)| {
        let (x, y) = (column + dx, row + dy);
        let inside = (dx, dy) != (0, 0) && x >= 0 && y >= 0 && x < width as i64 && y < height;
        inside.then(|| y as usize * width + x as usize)
    })
}

impl Flood<'_> {
    fn visit(&mut self, cell: usize, width: usize) {
        let mut steepest: Option<usize> = None;
        let mut components: [u32; 8] = [NONE; 8];
        let mut count = 0;
        for other in neighbours(cell, width, self.values.len()) {
            if self.label[other] == NONE {
                continue;
            }
            if steepest.is_none_or(|s| self.values[other] > self.values[s]) {
                steepest = Some(other);
            }
            let component = root(&mut self.joined_to, self.label[other]);
            if !components[..count].contains(&component) {
                components[count] = component;
                count += 1;
            }
        }
        match steepest {
            None => self.start(cell),
            Some(other) => self.label[cell] = self.label[other],
        }
        for i in 1..count {
            self.join(components[0], components[i], f64::from(self.values[cell]));
        }
    }

    fn start(&mut self, cell: usize) {
        let basin = self.basins.len() as u32;
        self.basins.push(Basin { peak_cell: cell, peak: f64::from(self.values[cell]) });
        self.absorbed_by.push(basin);
        self.joined_to.push(basin);
        self.label[cell] = basin;
    }

    /// Two components meet at `level`: the one with the lower top is absorbed where it is only a ripple.
    fn join(&mut self, a: u32, b: u32, level: f64) {
        let (a, b) = (root(&mut self.joined_to, a), root(&mut self.joined_to, b));
        if a == b {
            return;
        }
        let top = |basin: u32| self.basins[basin as usize].peak;
        let (high, low) = if top(a) >= top(b) { (a, b) } else { (b, a) };
        if (top(low) / level).log2() < MIN_PROMINENCE_STOPS {
            self.absorbed_by[low as usize] = high;
        }
        self.joined_to[low as usize] = high;
    }

    fn finish(mut self) -> Basins {
        let mut renumbered = vec![NONE; self.basins.len()];
        let mut kept = Vec::new();
        for basin in 0..self.basins.len() as u32 {
            if self.absorbed_by[basin as usize] == basin {
                renumbered[basin as usize] = kept.len() as u32;
                kept.push(self.basins[basin as usize]);
            }
        }
        for at in 0..self.label.len() {
            if self.label[at] != NONE {
                let owner = root(&mut self.absorbed_by, self.label[at]);
                self.label[at] = renumbered[owner as usize];
            }
        }
        Basins { basins: kept, label: self.label }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_tops_stay_apart_and_a_ripple_joins() {
        // Tops 8 and 4 with a pass of 1 stay apart; tops 8 and 7 with a pass of 6 are one.
        let apart = find_basins(&[0.1, 8.0, 1.0, 4.0, 0.1], 5, 0.0);
        assert_eq!(apart.basins.len(), 2);
        assert_eq!(apart.label[1], 0);
        assert_eq!(apart.label[3], 1);
        let one = find_basins(&[0.1, 8.0, 6.0, 7.0, 0.1], 5, 0.0);
        assert_eq!(one.basins.len(), 1);
        assert!(one.label.iter().all(|l| *l == 0));
    }

    #[test]
    fn masked_cells_belong_to_no_hill() {
        let basins = find_basins(&[f32::NAN, 2.0, 0.5, f32::NAN], 4, 1.0);
        assert_eq!(basins.label, [NONE, 0, NONE, NONE]);
    }
}
