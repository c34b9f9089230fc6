//! The finest level from a picture that comes in strips, so that no more of it is held than one of them.

use std::collections::BTreeMap;
use std::ops::Range;

use super::{Convention, LEAST_COLUMNS, LatLong, Level, MOST_COLUMNS, convention_of, direction};
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::image::Frame;

/// A lat-long environment while its strips come in.
///
/// Resamples to pixel patches; enough points per patch that no stored pixel is passed over. Columns depend on
/// longitude and rows on latitude alone, so which stored ones a patch takes, and by what weight, is worked out once
/// for each column and each row.
#[derive(Debug)]
pub struct LatLongInStrips {
    gain: f64,
    space: ColourSpace,
    across: Vec<Taps>,
    down: Vec<Taps>,
    level: Level,
    /// Rows of the level of which the strips so far hold a part.
    begun: BTreeMap<usize, Vec<Sum>>,
}

/// Stored columns or rows with their weights.
type Taps = Vec<(usize, f64)>;

/// Weighted stored values, and the weight of those that are not masked.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    rgb: [f64; 3],
    weight: f64,
}

impl LatLongInStrips {
    /// Of the frame that `header` tells of; `gain` brings its values to the plate's exposure.
    pub fn new(header: &Frame, gain: f64) -> Self {
        let columns = (header.data.width.clamp(LEAST_COLUMNS, MOST_COLUMNS) / 4) * 4;
        let rows = columns / 2;
        let convention = convention_of(header);
        let stored = [header.data.width, header.data.height];
        let points = stored[0].div_ceil(columns).max(stored[1].div_ceil(rows)).clamp(1, 16);
        let place = |patch: usize, point: usize| patch as f64 + (point as f64 + 0.5) / points as f64 - 0.5;
        let angles = |at: [f64; 2]| Convention::PixelPatches.longitude_latitude(at, [columns, rows]);
        let period = (convention.period(stored[0]) as usize).max(1);
        let across = parallel::map(columns, |column| {
            let longitudes = (0..points).map(|point| angles([place(column, point), 0.0])[0]);
            let at = longitudes.map(|longitude| convention.point(&direction(longitude, 0.0), stored)[0]);
            taps(at, |column| column.rem_euclid(period as i64) as usize)
        });
        let down = parallel::map(rows, |row| {
            let latitudes = (0..points).map(|point| angles([0.0, place(row, point)])[1]);
            let at = latitudes.map(|latitude| convention.point(&direction(0.0, latitude), stored)[1]);
            taps(at, |row| row.clamp(0, stored[1] as i64 - 1) as usize)
        });
        let level = Level { columns, rows, rgb: vec![[0.0; 3]; columns * rows] };
        Self { gain, space: header.space.clone(), across, down, level, begun: BTreeMap::new() }
    }

    /// Takes the next strip, whose first row is `first_row` of the whole picture.
    pub fn take(&mut self, strip: &Frame, first_row: usize) {
        let there = first_row..first_row + strip.data.height;
        let touched: Vec<usize> = (0..self.level.rows)
            .filter(|row| self.down[*row].iter().any(|(stored, _)| there.contains(stored)))
            .collect();
        let sums: Vec<Vec<Sum>> = parallel::map_each(&touched, |row| self.summed(*row, strip, &there));
        for (row, sums) in touched.into_iter().zip(sums) {
            if self.down[row].iter().all(|(stored, _)| *stored < there.end) {
                self.begun.remove(&row);
                self.settle(row, &sums);
            } else {
                self.begun.insert(row, sums);
            }
        }
    }

    /// A row of the level with what a strip holds of it.
    fn summed(&self, row: usize, strip: &Frame, there: &Range<usize>) -> Vec<Sum> {
        let mut sums = self.begun.get(&row).cloned().unwrap_or_else(|| vec![Sum::default(); self.level.columns]);
        let width = strip.data.width;
        for (stored, down) in self.down[row].iter().filter(|(stored, _)| there.contains(stored)) {
            let pixels = strip.rgb.get((stored - there.start) * width..).unwrap_or_default();
            for (sum, taps) in sums.iter_mut().zip(&self.across) {
                let mut whole = *sum;
                for (column, across) in taps {
                    let Some(rgb) = pixels.get(*column).filter(|rgb| rgb[0].is_finite()) else { continue };
                    let weight = down * across;
                    for c in 0..3 {
                        whole.rgb[c] += weight * f64::from(rgb[c]);
                    }
                    whole.weight += weight;
                }
                *sum = whole;
            }
        }
        sums
    }

    /// The means of a row in the working space; masked pixels do not count, and where all are it is black.
    fn settle(&mut self, row: usize, sums: &[Sum]) {
        let start = row * self.level.columns;
        for (pixel, sum) in self.level.rgb[start..].iter_mut().zip(sums) {
            let scale = if sum.weight > 1e-9 { self.gain / sum.weight } else { 0.0 };
            *pixel = self.space.to_working(sum.rgb.map(|value| value * scale)).map(|value| value as f32);
        }
    }

    /// The environment, once all strips were taken.
    pub fn finish(self) -> LatLong {
        LatLong::of_finest(self.level)
    }
}

/// The two neighbours of each place, by distance; a stored one that several places take stands once.
fn taps(places: impl Iterator<Item = f64>, stored: impl Fn(i64) -> usize) -> Taps {
    let mut taps = Taps::new();
    for place in places {
        let part = place - place.floor();
        for (index, weight) in [(place.floor() as i64, 1.0 - part), (place.floor() as i64 + 1, part)] {
            let index = stored(index);
            match taps.iter_mut().find(|tap| tap.0 == index) {
                Some(tap) => tap.1 += weight,
                None => taps.push((index, weight)),
            }
        }
    }
    taps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::{DataWindow, Size};
    use crate::light::environment::{SurveyInStrips, survey};

    /// Strips of any height give to the bit what the whole picture gives.
    #[test]
    fn strips_are_the_whole() {
        let size = Size { width: 520, height: 260 };
        let value = |i: usize| (i.wrapping_mul(2_654_435_761) >> 7) as u8;
        let mut pixels: Vec<[f32; 3]> =
            (0..size.width * size.height).map(|i| [value(i), value(i + 7), value(i + 13)].map(f32::from)).collect();
        pixels[1234] = [f32::NAN; 3];
        pixels[600..620].fill([0.0; 3]);
        let whole = Frame::computed("env.exr", size, pixels);
        let light = LatLong::of(&whole, 1.5);
        for height in [1, 7, 16, 259] {
            let mut taken = (LatLongInStrips::new(&whole, 1.5), SurveyInStrips::new(&whole));
            for top in (0..size.height).step_by(height) {
                let rows = DataWindow { x: 0, y: top as i64, width: size.width, height: height.min(size.height - top) };
                let strip = whole.cropped(&rows);
                taken.0.take(&strip, top);
                taken.1.take(&strip, top);
            }
            assert!(taken.0.begun.is_empty());
            assert!(taken.0.finish().levels[0].rgb == light.levels[0].rgb, "{height}");
            assert_eq!(taken.1.finish(), survey(&whole), "{height}");
        }
    }
}
