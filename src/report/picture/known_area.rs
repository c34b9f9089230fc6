//! The edge of what a map by direction shows.
//!
//! Towards the rim of a sphere one pixel spans many degrees, so what is known ends in splinters there. Splinters are
//! neither seen nor hidden; the map leaves them out, so that its hatched areas have the shape of the blind cone.

use crate::base::parallel;

/// Reach of the mean, as a part of the map's width: 3 degrees.
const REACH: f64 = 3.0 / 360.0;

/// So much of the neighbourhood has to be known. Well above one half, or splinters of the unknown would stay; it
/// moves a straight edge by 1.4 degrees.
const LEAST_KNOWN: f32 = 0.72;

/// Which pixels of a map are shown: those whose neighbourhood is mostly known. The few among them that are not known
/// themselves are gaps between splinters; [`nearest_known`] says what they show. The map closes on itself
/// to the left and right.
pub(super) fn shown(known: &[bool], width: usize) -> Vec<bool> {
    let field: Vec<f32> = known.iter().map(|known| f32::from(u8::from(*known))).collect();
    // Twice, or the corners of the square would show in the edge.
    let mean = mean_nearby(&mean_nearby(&field, width), width);
    mean.into_iter().map(|mean| mean >= LEAST_KNOWN).collect()
}

/// The mean over a square around every pixel; above and below the map nothing counts.
fn mean_nearby(field: &[f32], width: usize) -> Vec<f32> {
    let height = field.len() / width.max(1);
    let reach = (width as f64 * REACH).round() as i64;
    let mut across = vec![0.0_f32; field.len()];
    parallel::each_row(&mut across, width, |row, line| {
        let source = &field[row * width..(row + 1) * width];
        let at = |x: i64| source[x.rem_euclid(width as i64) as usize];
        let span = (2 * reach + 1) as f32;
        let mut sum: f32 = (-reach..=reach).map(at).sum();
        for (x, mean) in line.iter_mut().enumerate() {
            *mean = sum / span;
            sum += at(x as i64 + reach + 1) - at(x as i64 - reach);
        }
    });
    let mut mean = vec![0.0_f32; field.len()];
    parallel::each_row(&mut mean, width, |row, line| {
        let rows = row.saturating_sub(reach as usize)..(row + reach as usize + 1).min(height);
        let count = rows.len() as f32;
        for (x, mean) in line.iter_mut().enumerate() {
            *mean = rows.clone().map(|r| across[r * width + x]).sum::<f32>() / count;
        }
    });
    mean
}

/// The pixel that a shown one takes its colour from: itself, or the nearest known one of its row within reach.
pub(super) fn nearest_known(known: &[bool], width: usize, at: usize) -> Option<usize> {
    let reach = 2 * (width as f64 * REACH).round() as i64;
    let (row, x) = (at / width.max(1) * width, (at % width.max(1)) as i64);
    let steps = (0..=reach).flat_map(|step| [x + step, x - step]);
    let mut places = steps.map(|x| row + x.rem_euclid(width as i64) as usize);
    places.find(|place| known.get(*place).copied().unwrap_or(false))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_area_stays_and_splinters_go() {
        let (width, height) = (360, 180);
        assert!(shown(&vec![true; width * height], width).into_iter().all(|shows| shows));
        // Unknown up to column 40 and from 320 on, which is one area over the seam; splinters up to column 60.
        let known: Vec<bool> = (0..width * height)
            .map(|i| {
                let (x, y) = (i % width, i / width);
                (60..320).contains(&x) || ((40..60).contains(&x) && y % 4 < 2)
            })
            .collect();
        let shown = shown(&known, width);
        let row = |y: usize| shown[y * width..(y + 1) * width].iter().position(|shows| *shows).unwrap();
        assert!((50..66).contains(&row(90)), "{}", row(90));
        let edges: Vec<usize> = (20..160).map(row).collect();
        let spread = edges.iter().max().unwrap() - edges.iter().min().unwrap();
        assert!(spread <= 2, "the edge is even: {spread}");
        assert!(shown[90 * width + 200] && !shown[90 * width + 5]);
    }

    #[test]
    fn a_straight_edge_moves_by_less_than_two_degrees() {
        let width = 360;
        let known: Vec<bool> = (0..width * 180).map(|i| i / width < 90).collect();
        let shown = shown(&known, width);
        let last = (0..180).rfind(|y| shown[y * width + 100]).unwrap();
        assert!((87..=89).contains(&last), "{last}");
    }
}
