//! Fitting a picture into a panel, in linear light, with unknown pixels left out of every mean.

use crate::base::parallel;

/// A source of pixels with `N` channels, NaN in the first one where nothing is known.
pub(super) struct Source<'a, const N: usize> {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) pixels: &'a [[f32; N]],
}

/// A mean over what is known, and the fraction that is known.
pub(super) type Mean<const N: usize> = ([f32; N], f32);

/// One output pixel's share of a row or column of the source: first index and the weights from there on.
struct Span {
    first: usize,
    weights: Vec<f32>,
}

/// The picture at `width` × `height`: area means when it shrinks, linear interpolation when it grows.
///
/// Each pixel is the mean of what is known and the fraction that is known, 0 to 1.
pub(super) fn resized<const N: usize>(source: &Source<N>, width: usize, height: usize) -> Vec<Mean<N>> {
    let columns = spans(source.width, width);
    let rows = spans(source.height, height);
    let mut target = vec![([0.0; N], 0.0); width * height];
    parallel::each_row(&mut target, width, |row, line| {
        let sums = row_sums(source, &rows[row]);
        for (pixel, column) in line.iter_mut().zip(&columns) {
            *pixel = mean(&sums, column);
        }
    });
    target
}

/// Weighted sums down the source's columns, with the weight that was known in each.
fn row_sums<const N: usize>(source: &Source<N>, row: &Span) -> Vec<Mean<N>> {
    let mut sums = vec![([0.0; N], 0.0); source.width];
    for (offset, &weight) in row.weights.iter().enumerate() {
        let start = (row.first + offset) * source.width;
        let line = source.pixels.get(start..start + source.width).unwrap_or_default();
        for ((sum, known), pixel) in sums.iter_mut().zip(line) {
            if pixel.iter().all(|channel| channel.is_finite()) {
                for (total, channel) in sum.iter_mut().zip(pixel) {
                    *total += weight * channel;
                }
                *known += weight;
            }
        }
    }
    sums
}

/// The mean across a span of column sums.
fn mean<const N: usize>(sums: &[Mean<N>], column: &Span) -> Mean<N> {
    let mut total = [0.0; N];
    let mut known = 0.0;
    let run = sums.get(column.first..).unwrap_or_default();
    for (&weight, (sum, weight_down)) in column.weights.iter().zip(run) {
        for (t, s) in total.iter_mut().zip(sum) {
            *t += weight * s;
        }
        known += weight * weight_down;
    }
    if known > 0.0 { (total.map(|t| t / known), known) } else { (total, 0.0) }
}

/// The spans that map `from` source pixels onto `to` target pixels; the weights of each add up to one.
fn spans(from: usize, to: usize) -> Vec<Span> {
    let scale = from as f64 / to.max(1) as f64;
    (0..to)
        .map(|index| if scale > 1.0 { area_span(index, scale, from) } else { linear_span(index, scale, from) })
        .collect()
}

fn area_span(index: usize, scale: f64, from: usize) -> Span {
    let (start, end) = (index as f64 * scale, ((index + 1) as f64 * scale).min(from as f64));
    let (first, last) = (start.floor() as usize, (end.ceil() as usize).min(from));
    let covered = |pixel: usize| ((end.min((pixel + 1) as f64) - start.max(pixel as f64)) / (end - start)) as f32;
    Span { first, weights: (first..last).map(covered).collect() }
}

fn linear_span(index: usize, scale: f64, from: usize) -> Span {
    let centre = ((index as f64 + 0.5) * scale - 0.5).clamp(0.0, from.saturating_sub(1) as f64);
    let first = centre.floor() as usize;
    let second = (centre - first as f64) as f32;
    let weights = if second > 0.0 { vec![1.0 - second, second] } else { vec![1.0] };
    Span { first, weights }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Means of what is known; NaN where nothing is.
    fn resize(values: &[f32], width: usize, to: (usize, usize)) -> Vec<f32> {
        let pixels: Vec<[f32; 1]> = values.iter().map(|&v| [v]).collect();
        let source = Source { width, height: values.len() / width, pixels: &pixels };
        resized(&source, to.0, to.1).into_iter().map(|([v], known)| if known > 0.0 { v } else { f32::NAN }).collect()
    }

    #[test]
    fn shrinking_keeps_the_mean() {
        assert_eq!(resize(&[1.0, 3.0, 5.0, 7.0], 4, (2, 1)), [2.0, 6.0]);
        let third = resize(&[0.0, 3.0, 6.0, 9.0], 2, (1, 1));
        assert!((third[0] - 4.5).abs() < 1e-6);
        let uneven = resize(&[1.0, 2.0, 3.0, 4.0, 5.0], 5, (2, 1));
        assert!((uneven[0] - 1.8).abs() < 1e-6 && (uneven[1] - 4.2).abs() < 1e-6, "{uneven:?}");
    }

    #[test]
    fn growing_interpolates_and_the_same_size_copies() {
        assert_eq!(resize(&[0.0, 4.0], 2, (4, 1)), [0.0, 1.0, 3.0, 4.0]);
        assert_eq!(resize(&[1.0, 2.0, 3.0, 4.0], 2, (2, 2)), [1.0, 2.0, 3.0, 4.0]);
    }

    #[test]
    fn the_unknown_takes_no_part() {
        let halves = resize(&[f32::NAN, 3.0, f32::NAN, f32::NAN], 4, (2, 1));
        assert_eq!(halves[..1], [3.0]);
        assert!(halves[1].is_nan());
    }

    #[test]
    fn the_known_fraction_is_said() {
        let pixels = [[f32::NAN], [3.0], [1.0], [1.0]];
        let source = Source { width: 4, height: 1, pixels: &pixels };
        let fractions: Vec<_> = resized(&source, 2, 1).into_iter().map(|(_, known)| known).collect();
        assert_eq!(fractions, [0.5, 1.0]);
    }

    #[test]
    fn one_pixel_fills_any_panel() {
        assert_eq!(resize(&[2.0], 1, (3, 2)), [2.0; 6]);
    }
}
