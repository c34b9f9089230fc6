//! Lengths as they are written on set: metric or imperial in, millimetres out.

/// Millimetres of one unit (international inch and foot, exact by definition).
const UNITS: [(&str, f64); 9] = [
    ("mm", 1.0),
    ("cm", 10.0),
    ("m", 1000.0),
    ("inches", 25.4),
    ("in", 25.4),
    ("\"", 25.4),
    ("feet", 304.8),
    ("ft", 304.8),
    ("'", 304.8),
];

/// Millimetres of one `unit`: `mm`, `cm`, `m`, `in` or `ft`.
pub fn unit_mm(unit: &str) -> Option<f64> {
    UNITS.iter().find(|(name, _)| *name == unit).map(|(_, mm)| *mm)
}

/// Reads `3.2 m`, `250mm`, `10 in`, `10 ft 6 in` or `10'6"` as millimetres; `None` for anything else and for lengths
/// that are not above 0.
///
/// ```
/// use plateproof::sheet::length_mm;
/// assert_eq!(length_mm("3.2 m"), Some(3200.0));
/// assert!((length_mm("10'6\"").unwrap() - 3200.4).abs() < 1e-9);
/// assert_eq!(length_mm("10"), None);
/// ```
pub fn length_mm(text: &str) -> Option<f64> {
    let mut rest = text.trim();
    let mut total_mm = 0.0;
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !c.is_ascii_digit() && c != '.').filter(|at| *at > 0)?;
        let number: f64 = rest[..digits].parse().ok()?;
        let after = rest[digits..].trim_start();
        let end = after.find(|c: char| c.is_ascii_digit() || c.is_whitespace()).unwrap_or(after.len());
        total_mm += number * unit_mm(&after[..end])?;
        rest = after[end..].trim_start();
    }
    (total_mm > 0.0 && total_mm.is_finite()).then_some(total_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metric_and_imperial_are_read() {
        for (text, mm) in [
            ("250 mm", 250.0),
            ("25cm", 250.0),
            ("0.25 m", 250.0),
            ("10 in", 254.0),
            ("10\"", 254.0),
            ("10 ft 6 in", 3200.4),
            ("10' 6\"", 3200.4),
            ("2 feet 1.5 inches", 647.7),
        ] {
            assert!((length_mm(text).unwrap() - mm).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for text in ["", "mm", "250", "-3 m", "0 mm", "3 yards", "3 m and a bit", "1..5 m", "3,2 m", "é m", "1e400 m"]
        {
            assert_eq!(length_mm(text), None, "{text}");
        }
    }
}
