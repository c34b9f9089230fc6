//! When a picture was taken: a clock's reading, with its distance from UTC where that is known.

use std::fmt;

use crate::base::date::IsoDate;

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

/// Julian date of 1970-01-01 00:00 UTC (Meeus, Astronomical Algorithms, 2nd ed., chapter 7).
const JULIAN_DATE_OF_1970: f64 = 2_440_587.5;

/// No clock on Earth is further from UTC than this, seconds.
const LARGEST_OFFSET_S: f64 = 14.0 * 3600.0;

/// A date and time of day as a clock showed it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CaptureTime {
    /// Seconds since 1970-01-01 00:00 by that clock.
    pub local_s: f64,
    /// What the clock was ahead of UTC, seconds; east of Greenwich it is positive. `None` where nobody says.
    pub utc_offset_s: Option<f64>,
}

impl CaptureTime {
    /// Reads `2026-06-21T17:20:00+02:00` (ISO 8601; seconds and offset may be left out, `Z` is UTC) and
    /// `2026:06:21 17:20:00` (EXIF, OpenEXR). `None` for anything else, and before 1970.
    ///
    /// ```
    /// use plateproof::CaptureTime;
    /// let noon = CaptureTime::parse("2026-06-21T12:00:00+02:00").unwrap();
    /// assert_eq!(noon.to_string(), "2026-06-21 12:00:00 UTC+02:00");
    /// assert!(CaptureTime::parse("midsummer").is_none());
    /// ```
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let (date, rest) = (text.get(..10)?, text.get(11..)?);
        let shape = text.as_bytes();
        let separated = matches!((shape[4], shape[7]), (b'-', b'-') | (b':', b':')) && matches!(shape[10], b'T' | b' ');
        let date = IsoDate::parse(&date.replace(':', "-")).filter(|_| separated)?;
        let (clock, utc_offset_s) = split_offset(rest)?;
        let local_s = date.unix_day()? as f64 * DAY_S + seconds_of_day(clock)?;
        Some(Self { local_s, utc_offset_s })
    }

    /// The same reading with what the clock was ahead of UTC, where nothing else tells it.
    #[must_use]
    pub fn or_offset(self, utc_offset_s: Option<f64>) -> Self {
        let plausible = utc_offset_s.filter(|offset| offset.abs() <= LARGEST_OFFSET_S);
        Self { utc_offset_s: self.utc_offset_s.or(plausible), ..self }
    }

    /// Seconds since 1970-01-01 00:00 UTC; `None` where the offset is unknown.
    pub fn utc_s(self) -> Option<f64> {
        Some(self.local_s - self.utc_offset_s?)
    }

    /// Julian date in UTC; `None` where the offset is unknown.
    pub fn julian_date(self) -> Option<f64> {
        Some(JULIAN_DATE_OF_1970 + self.utc_s()? / DAY_S)
    }

    /// `self − other` in seconds: in UTC where both know their offset, else as the two clocks showed it.
    pub fn seconds_after(self, other: Self) -> f64 {
        match (self.utc_s(), other.utc_s()) {
            (Some(own), Some(others)) => own - others,
            _ => self.local_s - other.local_s,
        }
    }
}

/// The clock's part and the offset behind it, where there is one.
fn split_offset(text: &str) -> Option<(&str, Option<f64>)> {
    if let Some(clock) = text.strip_suffix(['Z', 'z']) {
        return Some((clock, Some(0.0)));
    }
    let Some(at) = text.find(['+', '-']) else { return Some((text, None)) };
    parse_offset_s(&text[at..]).map(|offset| (&text[..at], Some(offset)))
}

/// `+02:00`, `-0700` or `Z` as seconds ahead of UTC.
pub(crate) fn parse_offset_s(text: &str) -> Option<f64> {
    let text = text.trim();
    if matches!(text, "Z" | "z") {
        return Some(0.0);
    }
    let sign = if text.starts_with('-') { -1.0 } else { 1.0 };
    let digits = text.strip_prefix(['+', '-'])?.replace(':', "");
    if !matches!(digits.len(), 2 | 4) || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let minutes: u32 = digits.get(2..).filter(|m| !m.is_empty()).map_or(Some(0), |m| m.parse().ok())?;
    let hours: u32 = digits[..2].parse().ok()?;
    let seconds = f64::from(hours * 3600 + minutes * 60);
    (minutes < 60 && seconds <= LARGEST_OFFSET_S).then_some(sign * seconds)
}

fn seconds_of_day(clock: &str) -> Option<f64> {
    let mut parts = clock.split(':');
    let mut two_digits = |below: u32| {
        let value: u32 =
            parts.next().filter(|p| p.len() == 2 && p.bytes().all(|b| b.is_ascii_digit()))?.parse().ok()?;
        (value < below).then_some(f64::from(value))
    };
    let (hours, minutes) = (two_digits(24)?, two_digits(60)?);
    let seconds: f64 = parts.next().map_or(Some(0.0), |s| s.parse().ok())?;
    let whole = parts.next().is_none() && (0.0..61.0).contains(&seconds);
    whole.then_some(hours * 3600.0 + minutes * 60.0 + seconds)
}

impl fmt::Display for CaptureTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.local_s.rem_euclid(DAY_S) as u32;
        let date = IsoDate::from_unix_day((self.local_s / DAY_S).floor() as i64);
        write!(f, "{date} {:02}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)?;
        let Some(offset) = self.utc_offset_s else { return Ok(()) };
        let (sign, minutes) = (if offset < 0.0 { '-' } else { '+' }, (offset.abs() / 60.0).round() as u32);
        write!(f, " UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn julian_dates_agree_with_print() {
        // Meeus, Astronomical Algorithms, chapter 7, table: 2000-01-01 12:00 is 2451545.0, 1999-01-01 0h 2451179.5,
        // 1988-06-19 12:00 is 2447332.0. NREL/TP-560-34302 table A5.1: 2003-10-17 12:30:30 at UTC-7 is 2452930.312847.
        for (text, julian) in [
            ("2000-01-01T12:00:00Z", 2_451_545.0),
            ("1999-01-01T00:00Z", 2_451_179.5),
            ("1988:06:19 12:00:00Z", 2_447_332.0),
            ("2003-10-17T12:30:30-07:00", 2_452_930.312_847),
        ] {
            assert!((CaptureTime::parse(text).unwrap().julian_date().unwrap() - julian).abs() < 5e-7, "{text}");
        }
    }

    #[test]
    fn nonsense_is_no_time() {
        for text in [
            "",
            "2026-06-21",
            "2026-06-21T25:00:00",
            "2026-06-31T12:00:00",
            "2026-06-21T12:60:00",
            "2026-06:21 12:00:00",
            "2026-06-21T12:00:00+15:00",
            "2026-06-21T12:00:00+2",
            "0000:00:00 00:00:00",
            "1969-12-31T12:00:00Z",
            "2026-06-21x12:00:00",
            "2026-06-2éT12:00:00",
            "2026-06-21T12:00:00+0é:00",
        ] {
            assert_eq!(CaptureTime::parse(text), None, "{text}");
        }
    }

    #[test]
    fn clocks_in_two_zones_compare_in_utc_and_others_as_they_showed() {
        let time = |text| CaptureTime::parse(text).unwrap();
        assert!((time("2026-06-21T12:00+02:00").seconds_after(time("2026-06-21T10:30Z")) + 1800.0).abs() < 1e-6);
        assert!((time("2026-06-21T12:00+02:00").seconds_after(time("2026-06-21T10:30")) - 5400.0).abs() < 1e-6);
    }
}
