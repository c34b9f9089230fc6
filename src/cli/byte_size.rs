//! Amounts of memory as people write them.

use std::str::FromStr;

/// A number of bytes, `8GiB`, `500MB`, `1.5G`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ByteSize(pub(super) u64);

/// Decimal units, binary units and the bare letters, which are binary as in most tools.
const UNITS: [(&str, f64); 13] = [
    ("kib", 1024.0),
    ("mib", 1_048_576.0),
    ("gib", 1_073_741_824.0),
    ("tib", 1_099_511_627_776.0),
    ("kb", 1e3),
    ("mb", 1e6),
    ("gb", 1e9),
    ("tb", 1e12),
    ("k", 1024.0),
    ("m", 1_048_576.0),
    ("g", 1_073_741_824.0),
    ("t", 1_099_511_627_776.0),
    ("b", 1.0),
];

impl FromStr for ByteSize {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("\"{text}\" is not an amount of memory; write for example 8GiB or 500MiB");
        let lower = text.trim().to_ascii_lowercase();
        let unit = UNITS.iter().find_map(|(unit, bytes)| Some((lower.strip_suffix(unit)?, *bytes)));
        let (number, unit) = unit.ok_or_else(wrong)?;
        let number: f64 = number.trim().parse().map_err(|_| wrong())?;
        let bytes = number * unit;
        if bytes.is_finite() && bytes >= 1.0 { Ok(Self(bytes as u64)) } else { Err(wrong()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_and_nonsense_is_refused() {
        for (text, bytes) in
            [("8GiB", 8 << 30), ("500MB", 500_000_000), ("1.5g", 3 << 29), ("4096b", 4096), ("2 TiB", 2 << 40)]
        {
            assert_eq!(text.parse(), Ok(ByteSize(bytes)), "{text}");
        }
        for wrong in ["8", "GiB", "-1GiB", "0MiB", "nanGiB", "infGiB", "8XB", ""] {
            assert!(wrong.parse::<ByteSize>().is_err(), "{wrong}");
        }
    }
}
