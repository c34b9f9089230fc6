//! A decompressed block, and ZIP blocks in the form in which they come out of the compression.
//!
//! ZIP (OpenEXR file layout, "compression") stores differences of bytes, the first bytes of all pairs in one half of
//! the block and the second ones in the other. Putting the pairs together for a whole block takes longer than inflating
//! it, so here it is done for the wanted channels alone, while they are turned into floats.

use libdeflater::Decompressor;

/// One block's samples: per row, per channel, per pixel.
#[derive(Debug)]
pub(super) enum Unpacked {
    /// Samples in the machine's byte order.
    Whole(Vec<u8>),
    /// The first bytes of all pairs of little-endian bytes, then the second bytes.
    Halves(Vec<u8>),
}

/// One channel's samples in one row.
#[derive(Debug, Clone, Copy)]
pub(super) enum LaneBytes<'a> {
    /// Samples in the machine's byte order.
    Whole(&'a [u8]),
    /// First and second byte of each pair of little-endian bytes.
    Halves(&'a [u8], &'a [u8]),
}

impl Unpacked {
    /// Inflates a ZIP block of `length` bytes into the memory of a block that was; `None` where it is damaged.
    pub(super) fn from_zip(packed: &[u8], length: usize, mut bytes: Vec<u8>) -> Option<Self> {
        // What the memory held before is written over, or the block is refused.
        bytes.resize(length, 0);
        let inflated = Decompressor::new().zlib_decompress(packed, &mut bytes).ok()?;
        // Pairs: samples have two or four bytes.
        if inflated != length || !length.is_multiple_of(2) {
            return None;
        }
        add_up(&mut bytes);
        Some(Self::Halves(bytes))
    }

    /// Bytes of the block.
    pub(super) fn len(&self) -> usize {
        match self {
            Self::Whole(bytes) | Self::Halves(bytes) => bytes.len(),
        }
    }

    /// `count` bytes from `start` on, both even; `None` where the block does not hold them.
    pub(super) fn lane(&self, start: usize, count: usize) -> Option<LaneBytes<'_>> {
        match self {
            Self::Whole(bytes) => bytes.get(start..start + count).map(LaneBytes::Whole),
            Self::Halves(bytes) => {
                let (first, second) = bytes.split_at(bytes.len() / 2);
                let pairs = start / 2..start / 2 + count / 2;
                Some(LaneBytes::Halves(first.get(pairs.clone())?, second.get(pairs)?))
            }
        }
    }
}

/// Each byte is stored as its difference to the one before, plus 128. Eight of them are added up at once: every step
/// doubles the number of bytes that a byte holds the sum of.
fn add_up(bytes: &mut [u8]) {
    const EACH_128: u64 = u64::from_ne_bytes([128; 8]);
    const EACH_1: u64 = u64::from_ne_bytes([1; 8]);
    let mut last = 128_u8;
    let (eights, rest) = bytes.as_chunks_mut::<8>();
    for eight in eights {
        // Adding or subtracting 128 turns the highest bit, no more.
        let mut sums = u64::from_le_bytes(*eight) ^ EACH_128;
        for shift in [8, 16, 32] {
            sums = add_bytes(sums, sums << shift);
        }
        let sums = add_bytes(sums, EACH_1 * u64::from(last)).to_le_bytes();
        last = sums[7];
        *eight = sums;
    }
    for byte in rest {
        last = last.wrapping_add(*byte ^ 128);
        *byte = last;
    }
}

/// The sums of eight pairs of bytes, without what runs over from one into the next.
fn add_bytes(a: u64, b: u64) -> u64 {
    const LOW_BITS: u64 = u64::from_ne_bytes([127; 8]);
    ((a & LOW_BITS) + (b & LOW_BITS)) ^ ((a ^ b) & !LOW_BITS)
}

impl LaneBytes<'_> {
    /// Sets bits where a pair of bytes is not zero, one byte of `seen` for each pair.
    pub(super) fn mark(&self, seen: &mut [u8]) {
        match self {
            Self::Whole(bytes) => {
                for (seen, [a, b]) in seen.iter_mut().zip(bytes.as_chunks::<2>().0) {
                    *seen |= a | b;
                }
            }
            Self::Halves(first, second) => {
                for (seen, (a, b)) in seen.iter_mut().zip(first.iter().zip(*second)) {
                    *seen |= a | b;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_comes_apart_into_the_bytes_of_its_pairs() {
        // zlib, stored (RFC 1950, RFC 1951): differences of the bytes 1, 3 | 2, 4 with 128 added after the first.
        let stored = [1_u8, 130, 127, 130];
        let mut packed = vec![0x78, 0x01, 0x01, 4, 0, !4, !0];
        packed.extend(stored);
        packed.extend(adler32(&stored).to_be_bytes());
        let block = Unpacked::from_zip(&packed, 4, vec![9; 7]).unwrap();
        assert!(matches!(block.lane(0, 4), Some(LaneBytes::Halves([1, 3], [2, 4]))));
        assert!(matches!(block.lane(2, 2), Some(LaneBytes::Halves([3], [4]))));
        assert!(block.lane(2, 4).is_none());
        assert!(Unpacked::from_zip(&packed, 6, Vec::new()).is_none(), "shorter than its place");
        assert!(Unpacked::from_zip(&packed[..9], 4, Vec::new()).is_none());
    }

    /// Against the plain sum, for lengths that eight divides and others.
    #[test]
    fn differences_add_up_whatever_the_length() {
        for length in [0, 1, 7, 8, 9, 64, 1003_u32] {
            let stored: Vec<u8> = (0..length).map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
            let mut added = stored.clone();
            add_up(&mut added);
            let mut last = 128_u8;
            for (byte, sum) in stored.iter().zip(added) {
                last = last.wrapping_add(*byte).wrapping_sub(128);
                assert_eq!(sum, last);
            }
        }
    }

    fn adler32(bytes: &[u8]) -> u32 {
        let (a, b) = bytes.iter().fold((1_u32, 0_u32), |(a, b), byte| {
            let a = (a + u32::from(*byte)) % 65_521;
            (a, (b + a) % 65_521)
        });
        b << 16 | a
    }
}
