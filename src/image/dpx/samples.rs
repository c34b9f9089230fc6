//! Codes of one line of a DPX picture.

use super::header::{Header, Packing};

/// The code of every channel of every pixel of a line, in stored order. `line` holds [`Header::line_bytes`].
pub(super) fn codes(header: &Header, line: &[u8], out: &mut Vec<u16>) {
    let count = header.width * header.channels.count();
    out.clear();
    match header.packing {
        Packing::Bytes => out.extend(line.iter().map(|byte| u16::from(*byte))),
        Packing::Words(shift) => {
            let mask = (1_u32 << header.bits) - 1;
            let words = line.chunks_exact(2).map(|b| u32::from(word16(header, [b[0], b[1]])));
            out.extend(words.map(|word| ((word >> shift) & mask) as u16));
        }
        Packing::ThreeInWord(shift) => {
            // A single channel begins in the least significant bits, several in the most significant.
            let order = if header.channels.count() == 1 { [0, 10, 20] } else { [20, 10, 0] };
            for word in words32(header, line) {
                out.extend(order.map(|place| ((word >> (place + shift)) & 0x3FF) as u16));
            }
        }
        Packing::Stream => stream(header, line, count, out),
    }
    out.truncate(count);
}

fn stream(header: &Header, line: &[u8], count: usize, out: &mut Vec<u16>) {
    let bits = u32::from(header.bits);
    let (mut held, mut have) = (0_u64, 0);
    for word in words32(header, line) {
        held |= u64::from(word) << have;
        have += 32;
        while have >= bits && out.len() < count {
            out.push((held & ((1 << bits) - 1)) as u16);
            held >>= bits;
            have -= bits;
        }
    }
}

fn word16(header: &Header, bytes: [u8; 2]) -> u16 {
    if header.big_endian { u16::from_be_bytes(bytes) } else { u16::from_le_bytes(bytes) }
}

fn words32<'a>(header: &'a Header, line: &'a [u8]) -> impl Iterator<Item = u32> + 'a {
    line.chunks_exact(4).map(|b| {
        let bytes = [b[0], b[1], b[2], b[3]];
        if header.big_endian { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) }
    })
}
