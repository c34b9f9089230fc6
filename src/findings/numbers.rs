//! Numbers in words: as many digits as their uncertainty deserves.

/// Significant digits that a JSON report keeps: a millionth of a value, well under any standard deviation reported.
pub(crate) const SIGNIFICANT_DIGITS: usize = 6;

/// The unit of a value that is counted in tolerances.
pub(crate) const TOLERANCES: &str = "tolerances";

/// Where something is seen, in whole degrees: `azimuth +64, elevation +18 deg`.
pub(crate) fn place_words([azimuth_deg, elevation_deg]: [f64; 2]) -> String {
    format!("azimuth {}, elevation {} deg", fixed(azimuth_deg, 0, true), fixed(elevation_deg, 0, true))
}

/// `value +/- sd` with as many decimals as the standard deviation deserves.
pub(crate) fn number_words(value: f64, sd: Option<f64>, unit: &str, signed: bool) -> String {
    let decimals = decimals_for(sd, unit);
    let number = fixed(value, decimals, signed);
    match sd.filter(|sd| sd.is_finite()) {
        // A deviation below the last digit shown is told as that digit, never as none.
        Some(sd) if sd > 0.0 => {
            let smallest = 10.0_f64.powi(-(decimals as i32));
            format!("{number} +/- {}", fixed(sd.max(smallest), decimals, false))
        }
        Some(sd) => format!("{number} +/- {}", fixed(sd, decimals, false)),
        None => number,
    }
}

/// A value that is counted in tolerances: `320 +/- 10 % of tolerance`.
pub(crate) fn of_tolerance_words(value: f64, sd: Option<f64>) -> String {
    format!("{} % of tolerance", number_words(100.0 * value, sd.map(|sd| 100.0 * sd), "percent", false))
}

/// A number with a fixed count of decimals; never `-0.0`, a dash for NaN and Inf, powers of ten beyond seven digits.
pub(crate) fn fixed(value: f64, decimals: usize, signed: bool) -> String {
    if !value.is_finite() {
        return "-".to_owned();
    }
    if value.abs() >= 1e7 {
        return format!("{value:.3e}");
    }
    // What is read back from a JSON report has to read the same.
    let value = rounded(value, SIGNIFICANT_DIGITS).unwrap_or(value);
    let plain = format!("{value:.decimals$}");
    let is_zero = !plain.bytes().any(|b| (b'1'..=b'9').contains(&b));
    match (is_zero, signed) {
        (true, _) => format!("{:.decimals$}", 0.0),
        (false, true) => format!("{value:+.decimals$}"),
        (false, false) => plain,
    }
}

/// A number as short as four significant digits allow.
pub(crate) fn plain_number(value: f64) -> String {
    rounded(value, 4).map_or_else(|| "-".to_owned(), |rounded| rounded.to_string())
}

/// `value` to so many significant digits; `None` for NaN and Inf. Negative zero becomes zero.
pub(crate) fn rounded(value: f64, digits: usize) -> Option<f64> {
    let text = format!("{value:.*e}", digits.saturating_sub(1));
    let parsed: f64 = text.parse().ok()?;
    parsed.is_finite().then_some(parsed + 0.0)
}

/// Decimals such that the standard deviation keeps one or two significant digits.
fn decimals_for(sd: Option<f64>, unit: &str) -> usize {
    let (fewest, most) = match unit {
        "deg" | "%" => (1, 2),
        TOLERANCES | "stops" => (2, 2),
        _ => (0, 4),
    };
    let Some(sd) = sd.filter(|sd| *sd > 0.0) else {
        return fewest.max(1);
    };
    // Negative exponents of huge deviations saturate to 0 in the cast.
    let wanted = (-sd.log10()).ceil().max(0.0) as usize;
    wanted.clamp(fewest, most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_follow_the_deviation() {
        assert_eq!(number_words(10.3456, Some(0.3), "deg", false), "10.3 +/- 0.3");
        assert_eq!(number_words(0.4215, Some(0.03), "stops", true), "+0.42 +/- 0.03");
        assert_eq!(number_words(-0.4215, Some(0.004), "stops", true), "-0.42 +/- 0.01");
        assert_eq!(number_words(21.7, Some(12.0), "mired", true), "+22 +/- 12");
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(fixed(-0.001, 2, true), "0.00");
        assert_eq!(fixed(0.0, 1, true), "0.0");
        assert_eq!(fixed(-0.06, 1, false), "-0.1");
        assert_eq!(fixed(f64::NAN, 1, true), "-");
        assert_eq!(fixed(f64::MAX, 1, true), "1.798e308");
    }

    #[test]
    fn a_number_reads_the_same_before_and_after_the_json_report() {
        for value in [0.874_999_6_f64, 0.875_000_4, -2.345_000_04, 0.105_000_01] {
            let kept = rounded(value, SIGNIFICANT_DIGITS).unwrap();
            assert_eq!(fixed(value, 2, true), fixed(kept, 2, true), "{value}");
        }
    }

    #[test]
    fn rounding_keeps_significant_digits_at_every_size() {
        assert_eq!(rounded(1_234_567.0, 6), Some(1_234_570.0));
        assert_eq!(rounded(-1.234_567_8e-9, 6), Some(-1.234_57e-9));
        assert_eq!(rounded(f64::MAX, 4), None, "rounding up would overflow");
        assert_eq!(rounded(f64::NAN, 6), None);
    }
}
