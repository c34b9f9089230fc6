//! Work spread over all cores, with one compiled copy of the machinery.
//!
//! Every direct use of `rayon` with its own closure compiles the whole of its splitting code anew: with a hundred
//! uses that was a fifth of the crate's build time. Here the closures are handed on by reference, in blocks of many
//! items, so that the machinery is compiled once and the inner loops stay plain loops.
//!
//! Results come in the order of their index, whatever core was first: two runs give the same bytes.

use std::ops::Range;
use std::sync::Mutex;

use rayon::iter::{IntoParallelIterator, ParallelIterator};

/// Blocks per core: enough that a core that is done early finds more to do.
const BLOCKS_PER_CORE: usize = 8;

/// Cores that work is spread over.
pub(crate) fn cores() -> usize {
    rayon::current_num_threads()
}

/// Runs both on two cores where two are free, and gives both results.
pub(crate) fn both<A: Send, B: Send>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B + Send) -> (A, B) {
    let (mut first, mut second) = (Some(first), Some(second));
    let (mut a, mut b) = (None, None);
    run_both(&mut || a = first.take().map(|work| work()), &mut || b = second.take().map(|work| work()));
    match (a, b) {
        (Some(a), Some(b)) => (a, b),
        _ => unreachable!("both were run in the line above"),
    }
}

/// `count` results of `one(index)`, in order.
pub(crate) fn map<T: Send>(count: usize, one: impl Fn(usize) -> T + Sync) -> Vec<T> {
    parts(count, &|range| range.map(&one).collect())
}

/// What `one` makes of each item of `items`, in order.
pub(crate) fn map_each<'a, S: Sync, T: Send>(items: &'a [S], one: impl Fn(&'a S) -> T + Sync) -> Vec<T> {
    map(items.len(), |index| one(&items[index]))
}

/// What `one` makes of each item of `items` while changing it, in order.
pub(crate) fn map_each_mut<S: Send, T: Send>(items: &mut [S], one: impl Fn(&mut S) -> T + Sync) -> Vec<T> {
    let items: Vec<Mutex<&mut S>> = items.iter_mut().map(Mutex::new).collect();
    filter_map(items.len(), |index| items[index].lock().ok().map(|mut item| one(&mut item)))
}

/// The results of `one(index)` for `count` indices that gave one, in order.
pub(crate) fn filter_map<T: Send>(count: usize, one: impl Fn(usize) -> Option<T> + Sync) -> Vec<T> {
    parts(count, &|range| range.filter_map(&one).collect())
}

/// All that `some(index)` gives for `count` indices, one after the other, in order.
pub(crate) fn flat_map<T: Send, I: IntoIterator<Item = T>>(count: usize, some: impl Fn(usize) -> I + Sync) -> Vec<T> {
    parts(count, &|range| range.flat_map(&some).collect())
}

/// Calls `on_row(row, values)` for every `width` values of `values`, many rows at once.
pub(crate) fn each_row<T: Send>(values: &mut [T], width: usize, on_row: impl Fn(usize, &mut [T]) + Sync) {
    let width = width.max(1);
    let rows = values.len().div_ceil(width);
    let rows_at_once = rows.div_ceil(cores() * BLOCKS_PER_CORE).max(1);
    let blocks: Vec<Mutex<&mut [T]>> = values.chunks_mut(rows_at_once * width).map(Mutex::new).collect();
    run_blocks(blocks.len(), &|range| {
        for block in range {
            let Ok(mut values) = blocks[block].lock() else { continue };
            for (row, values) in values.chunks_mut(width).enumerate() {
                on_row(block * rows_at_once + row, values);
            }
        }
    });
}

/// Calls `on_value(index, value)` for every value, many at once.
pub(crate) fn each<T: Send>(values: &mut [T], on_value: impl Fn(usize, &mut T) + Sync) {
    each_row(values, 1, |index, value| value.iter_mut().for_each(|value| on_value(index, value)));
}

/// What `of` makes of every block of `count` indices, one after the other.
fn parts<T: Send>(count: usize, of: &(dyn Fn(Range<usize>) -> Vec<T> + Sync)) -> Vec<T> {
    let parts: Mutex<Vec<(usize, Vec<T>)>> = Mutex::new(Vec::new());
    run_blocks(count, &|range| {
        let (start, part) = (range.start, of(range));
        // Only a panic elsewhere poisons the lock, and that panic is already on its way up.
        if let Ok(mut parts) = parts.lock() {
            parts.push((start, part));
        }
    });
    let mut parts = parts.into_inner().unwrap_or_default();
    parts.sort_unstable_by_key(|(start, _)| *start);
    let total = parts.iter().map(|(_, part)| part.len()).sum();
    let mut all = Vec::with_capacity(total);
    for (_, mut part) in parts {
        all.append(&mut part);
    }
    all
}

/// The one place where two jobs are split.
fn run_both(first: &mut (dyn FnMut() + Send), second: &mut (dyn FnMut() + Send)) {
    rayon::join(first, second);
}

/// The one place where a loop is split. A block is as many indices as one core takes at once.
fn run_blocks(count: usize, block: &(dyn Fn(Range<usize>) + Sync)) {
    let blocks = count.min(cores() * BLOCKS_PER_CORE);
    let bound = |i: usize| i * count / blocks.max(1);
    (0..blocks).into_par_iter().for_each(|i| block(bound(i)..bound(i + 1)));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_order_whatever_the_count() {
        for count in [0, 1, 2, 15, 16, 17, 1000] {
            assert_eq!(map(count, |i| i * 3), (0..count).map(|i| i * 3).collect::<Vec<_>>());
            let odd = filter_map(count, |i| (i % 2 == 1).then_some(i));
            assert_eq!(odd, (0..count).filter(|i| i % 2 == 1).collect::<Vec<_>>());
            assert_eq!(flat_map(count, |i| 0..i % 4).len(), (0..count).map(|i| i % 4).sum::<usize>());
        }
    }

    #[test]
    fn every_row_is_seen_once_with_its_number() {
        for (width, count) in [(1, 5), (7, 70), (7, 73), (1000, 3), (3, 0)] {
            let mut values = vec![0_usize; count];
            each_row(&mut values, width, |row, values| values.iter_mut().for_each(|v| *v += row + 1));
            assert_eq!(values, (0..count).map(|i| i / width + 1).collect::<Vec<_>>());
        }
    }

    #[test]
    fn both_results_come_back_in_their_place() {
        assert_eq!(both(|| 7, || "seven".to_owned()), (7, "seven".to_owned()));
    }
}
