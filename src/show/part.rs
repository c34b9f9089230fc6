//! One show over several processes that do not talk to one another.

use std::cmp::Reverse;
use std::str::FromStr;

/// Part `number` of `of`, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// Which one, from 1.
    pub number: usize,
    /// How many there are.
    pub of: usize,
}

impl FromStr for Part {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || "write it as NUMBER/COUNT, for example 2/8".to_owned();
        let (number, of) = text.split_once('/').ok_or_else(wrong)?;
        let read = |digits: &str| digits.trim().parse::<usize>().map_err(|_| wrong());
        let part = Self { number: read(number)?, of: read(of)? };
        if part.number == 0 || part.number > part.of {
            return Err(format!("there is no part {number} of {of}: parts count from 1"));
        }
        Ok(part)
    }
}

/// The part, from 0, that each shot belongs to: the largest shots first, each to the part that has least so far.
///
/// The same sizes always give the same parts. No part gets more than 4/3 of the least possible (Graham 1969, bounds
/// on multiprocessing timing anomalies, from memory), unless one shot alone is larger.
pub fn parts_by_size(bytes: &[u64], of: usize) -> Vec<usize> {
    let of = of.max(1);
    let mut order: Vec<usize> = (0..bytes.len()).collect();
    order.sort_by_key(|&shot| (Reverse(bytes[shot]), shot));
    let mut loads: std::collections::BinaryHeap<Reverse<(u64, usize, usize)>> =
        (0..of.min(bytes.len())).map(|part| Reverse((0, 0, part))).collect();
    let mut parts = vec![0; bytes.len()];
    for shot in order {
        // Shots of no known size still count one each, so that they spread as well.
        let Some(Reverse((load, shots, part))) = loads.pop() else { break };
        parts[shot] = part;
        loads.push(Reverse((load.saturating_add(bytes[shot]), shots + 1, part)));
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_read_and_nonsense_is_refused() {
        assert_eq!("2/8".parse(), Ok(Part { number: 2, of: 8 }));
        for wrong in ["2", "0/3", "4/3", "a/3", "1/0", "-1/2", "1/2/3"] {
            assert!(wrong.parse::<Part>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn every_shot_is_in_one_part_and_the_parts_are_balanced() {
        let bytes: Vec<u64> = (0..200).map(|i| (i * 7919) % 1000 + 50).collect();
        for of in [1, 2, 3, 7, 200, 500] {
            let parts = parts_by_size(&bytes, of);
            assert_eq!(parts, parts_by_size(&bytes, of));
            let mut loads = vec![0; of];
            parts.iter().zip(&bytes).for_each(|(part, bytes)| loads[*part] += bytes);
            assert_eq!(loads.iter().sum::<u64>(), bytes.iter().sum::<u64>());
            let least = (bytes.iter().sum::<u64>() as f64 / of as f64).max(1049.0);
            assert!(loads.iter().all(|load| *load as f64 <= least * 4.0 / 3.0), "{of}: {loads:?}");
        }
        let mut unknown = parts_by_size(&[0; 9], 3);
        unknown.sort_unstable();
        assert_eq!(unknown, [0, 0, 0, 1, 1, 1, 2, 2, 2]);
    }
}
