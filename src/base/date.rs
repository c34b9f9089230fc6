//! Calendar dates of waivers.

use std::time::{SystemTime, UNIX_EPOCH};

/// A day of the Gregorian calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct IsoDate {
    year: i64,
    month: u8,
    day: u8,
}

impl IsoDate {
    /// Reads `YYYY-MM-DD` (ISO 8601 calendar date); `None` for anything else and for days that do not exist.
    ///
    /// ```
    /// use plateproof::base::date::IsoDate;
    /// assert!(IsoDate::parse("2028-02-29").is_some());
    /// assert!(IsoDate::parse("2027-02-29").is_none());
    /// ```
    pub fn parse(text: &str) -> Option<Self> {
        let shaped = text.len() == 10
            && text.bytes().enumerate().all(|(i, b)| if matches!(i, 4 | 7) { b == b'-' } else { b.is_ascii_digit() });
        if !shaped {
            return None;
        }
        let (year, month, day) = (text[..4].parse().ok()?, text[5..7].parse().ok()?, text[8..].parse().ok()?);
        (day >= 1 && day <= days_in_month(year, month)?).then_some(Self { year, month, day })
    }

    /// Today in UTC, by the machine's clock.
    pub fn today_utc() -> Self {
        let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |elapsed| elapsed.as_secs());
        Self::from_unix_day((seconds / 86_400) as i64)
    }

    /// The day a number of days after 1970-01-01 (`0` itself for negative numbers).
    pub fn from_unix_day(days: i64) -> Self {
        let mut left = days.max(0);
        // Whole 400-year cycles of 146 097 days first, so the loops below stay short.
        let mut year = 1970 + 400 * (left / 146_097);
        left %= 146_097;
        while left >= days_in_year(year) {
            left -= days_in_year(year);
            year += 1;
        }
        let mut month = 1;
        while let Some(length) = days_in_month(year, month).map(i64::from).filter(|length| left >= *length) {
            left -= length;
            month += 1;
        }
        Self { year, month, day: left as u8 + 1 }
    }
}

impl IsoDate {
    /// Days since 1970-01-01; `None` before it.
    pub fn unix_day(self) -> Option<i64> {
        let years: i64 = self.year.checked_sub(1970).filter(|years| *years >= 0)?;
        let leap_days_before = |year: i64| (year - 1) / 4 - (year - 1) / 100 + (year - 1) / 400;
        let leap_days = leap_days_before(self.year) - leap_days_before(1970);
        let months: i64 = (1..self.month).filter_map(|month| days_in_month(self.year, month)).map(i64::from).sum();
        Some(365 * years + leap_days + months + i64::from(self.day) - 1)
    }
}

impl std::fmt::Display for IsoDate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

fn is_leap(year: i64) -> bool {
    (year % 4 == 0 && year % 100 != 0) || year % 400 == 0
}

fn days_in_year(year: i64) -> i64 {
    if is_leap(year) { 366 } else { 365 }
}

fn days_in_month(year: i64, month: u8) -> Option<u8> {
    match month {
        2 if is_leap(year) => Some(29),
        2 => Some(28),
        4 | 6 | 9 | 11 => Some(30),
        1..=12 => Some(31),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_that_do_not_exist_are_refused() {
        for text in ["2027-13-01", "2027-00-10", "2027-04-31", "1900-02-29", "27-01-01", "2027/01/01", "2027-01-1é"] {
            assert_eq!(IsoDate::parse(text), None, "{text}");
        }
    }

    #[test]
    fn days_since_1970_agree_with_the_calendar() {
        // 20 000 days after the epoch is 2024-10-04; 11 016 is the leap day of 2000 (counted by hand from the rules).
        for (days, text) in [(0, "1970-01-01"), (11_016, "2000-02-29"), (20_000, "2024-10-04"), (31, "1970-02-01")] {
            assert_eq!(Some(IsoDate::from_unix_day(days)), IsoDate::parse(text), "{days}");
            assert_eq!(IsoDate::from_unix_day(days).unix_day(), Some(days), "{text}");
            assert_eq!(IsoDate::from_unix_day(days).to_string(), text);
        }
    }
}
