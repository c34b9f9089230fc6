//! SMPTE timecode: labels of frames, and which frame of a movie has one.

/// A label and how labels count (SMPTE ST 12-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Timecode {
    /// Hours, minutes, seconds, frames.
    parts: [u32; 4],
    /// Labels are left out so that they keep up with the clock at 29.97 and 59.94 frames a second.
    drop_frame: bool,
}

impl Timecode {
    /// From `01:12:03:14`, or `01:12:03;14` with dropped labels.
    pub(super) fn parse(text: &str) -> Option<Self> {
        let parts: Vec<&str> = text.trim().split([':', ';', '.']).collect();
        let two_digits = |part: &&str| matches!(part.len(), 1 | 2) && part.bytes().all(|b| b.is_ascii_digit());
        if parts.len() != 4 || !parts[..3].iter().all(two_digits) || parts[3].is_empty() || parts[3].len() > 3 {
            return None;
        }
        let number = |i: usize| parts[i].parse::<u32>().ok();
        let parts = [number(0)?, number(1)?, number(2)?, number(3)?];
        (parts[0] < 24 && parts[1] < 60 && parts[2] < 60).then_some(Self { parts, drop_frame: text.contains(';') })
    }

    /// Labels a second at a frame rate: 24 for 23.976.
    pub(super) fn labels_a_second(frames_a_second: f64) -> u32 {
        (frames_a_second.round() as u32).max(1)
    }

    /// Frames from midnight; `None` for a label that does not exist at this rate.
    pub(super) fn frames(self, rate: u32) -> Option<i64> {
        let [hours, minutes, seconds, frames] = self.parts.map(i64::from);
        let rate = i64::from(rate);
        if frames >= rate {
            return None;
        }
        let all_minutes = 60 * hours + minutes;
        let counted = (all_minutes * 60 + seconds) * rate + frames;
        if !self.drop_frame {
            return Some(counted);
        }
        // The first two labels of every minute but each tenth are left out (four at 60 labels a second).
        let left_out = rate / 15;
        if rate % 30 != 0 || (seconds == 0 && frames < left_out && minutes % 10 != 0) {
            return None;
        }
        Some(counted - left_out * (all_minutes - all_minutes / 10))
    }

    /// The label `frames` after midnight.
    pub(super) fn at(frames: i64, rate: u32, drop_frame: bool) -> Self {
        let rate = i64::from(rate);
        let drop_frame = drop_frame && rate % 30 == 0;
        let mut counted = frames;
        if drop_frame {
            let left_out = rate / 15;
            let ten_minutes = 600 * rate - 9 * left_out;
            let (tens, rest) = (frames.div_euclid(ten_minutes), frames.rem_euclid(ten_minutes));
            let minutes = if rest < 60 * rate { 0 } else { 1 + (rest - 60 * rate) / (60 * rate - left_out) };
            counted += left_out * (9 * tens + minutes);
        }
        let seconds = counted.div_euclid(rate).rem_euclid(86_400);
        let parts = [seconds / 3600, seconds / 60 % 60, seconds % 60, counted.rem_euclid(rate)].map(|v| v as u32);
        Self { parts, drop_frame }
    }

    /// The same label in the other's way of counting: people write `:` for both.
    pub(super) fn counted_as(self, other: Self) -> Self {
        Self { drop_frame: other.drop_frame, ..self }
    }

    /// Whether labels are left out.
    pub(super) fn is_drop_frame(self) -> bool {
        self.drop_frame
    }
}

impl std::fmt::Display for Timecode {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let [hours, minutes, seconds, frames] = self.parts;
        let mark = if self.drop_frame { ';' } else { ':' };
        write!(formatter, "{hours:02}:{minutes:02}:{seconds:02}{mark}{frames:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(text: &str, rate: u32) -> Option<i64> {
        Timecode::parse(text)?.frames(rate)
    }

    /// SMPTE ST 12-1: an hour of dropped labels at 29.97 has 107 892 frames (from memory).
    #[test]
    fn labels_count_frames() {
        assert_eq!(frames("00:00:01:00", 24), Some(24));
        assert_eq!(frames("01:00:00:00", 25), Some(90_000));
        assert_eq!(frames("01:00:00;00", 30), Some(107_892));
        assert_eq!(frames("00:01:00;02", 30), Some(1800));
        assert_eq!(frames("00:00:59;29", 30), Some(1799));
        assert_eq!(frames("00:01:00;00", 30), None, "left out");
        assert_eq!(frames("00:10:00;00", 30), Some(17_982));
        assert_eq!(frames("00:00:00:24", 24), None);
        assert_eq!(frames("00:01:00;04", 60), Some(3600));
    }

    #[test]
    fn every_label_of_an_hour_comes_back() {
        for (rate, drop_frame) in [(24, false), (25, false), (30, true), (60, true)] {
            for count in (0..70 * 60 * i64::from(rate)).step_by(7) {
                let label = Timecode::at(count, rate, drop_frame);
                assert_eq!(label.frames(rate), Some(count), "{label}");
                assert_eq!(Timecode::parse(&label.to_string()), Some(label));
            }
        }
    }

    #[test]
    fn what_is_no_label_is_none() {
        for text in ["", "86", "01:12:03", "1:2:3:4:5", "25:00:00:00", "00:60:00:00", "a:b:c:d", "00:00:00:-1"] {
            assert_eq!(Timecode::parse(text), None, "{text}");
        }
    }
}
