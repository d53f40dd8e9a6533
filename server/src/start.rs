//! When the performance starts, as a person says it: a time of day, or minutes from now.

use std::str::FromStr;
use std::time::Duration;

/// A start that was typed.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Start {
    /// So long from now.
    In(Duration),
    /// When the clock on the wall next shows this; seconds since midnight.
    At(u32),
}

/// Why a text is not a start.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("“{0}” is not a start: give a time of day, as in 19:30, or minutes from now, as in 25")]
pub struct NotAStart(String);

/// Why a time of day cannot be counted from now.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("the local time is not known here: give the start in minutes from now, as in 25")]
pub struct NoLocalTime;

const DAY: u32 = 24 * 60 * 60;

impl Start {
    /// How far away the start is; reads the local clock for a time of day.
    pub fn from_now(self) -> Result<Duration, NoLocalTime> {
        match self {
            Self::In(wait) => Ok(wait),
            Self::At(_) => {
                let now = time::OffsetDateTime::now_local().map_err(|_| NoLocalTime)?;
                let (hour, minute, second) = now.to_hms();
                Ok(self.after(u32::from(hour) * 3_600 + u32::from(minute) * 60 + u32::from(second)))
            }
        }
    }

    /// The time of day that has passed today, if that was typed: then tomorrow's is meant.
    pub fn tomorrow(self) -> Option<String> {
        let (hour, minute, second) = time::OffsetDateTime::now_local().ok()?.to_hms();
        self.passed(u32::from(hour) * 3_600 + u32::from(minute) * 60 + u32::from(second))
    }

    /// The time of day, if it has passed when the clock shows `now`, in seconds since midnight.
    fn passed(self, now: u32) -> Option<String> {
        match self {
            Self::At(then) if then < now => Some(format!("{}:{:02}", then / 3_600, then / 60 % 60)),
            Self::At(_) | Self::In(_) => None,
        }
    }

    /// How far away the start is when the clock shows `now`, in seconds since midnight.
    fn after(self, now: u32) -> Duration {
        match self {
            Self::In(wait) => wait,
            Self::At(then) => Duration::from_secs(u64::from((then + DAY - now % DAY) % DAY)),
        }
    }
}

impl FromStr for Start {
    type Err = NotAStart;

    fn from_str(text: &str) -> Result<Self, NotAStart> {
        let not_a_start = || NotAStart(text.chars().take(40).collect());
        if let Some((hour, minute)) = text.trim().split_once(':') {
            let within = |part: &str, below: u32| {
                let digits = !part.is_empty() && part.len() <= 2 && part.bytes().all(|byte| byte.is_ascii_digit());
                part.parse::<u32>().ok().filter(|&number| digits && number < below)
            };
            return match (within(hour, 24), within(minute, 60)) {
                (Some(hour), Some(minute)) => Ok(Self::At(hour * 3_600 + minute * 60)),
                _ => Err(not_a_start()),
            };
        }
        let minutes = text.trim().trim_start_matches("in ").trim_end_matches("min").trim();
        match minutes.parse::<u32>() {
            Ok(minutes) if minutes <= 24 * 60 => Ok(Self::In(Duration::from_secs(u64::from(minutes) * 60))),
            _ => Err(not_a_start()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_count_from_now_and_times_from_the_clock() {
        let half_past_seven = 19 * 3_600 + 30 * 60;
        for (text, now, minutes) in [
            ("25", half_past_seven, 25),
            ("in 25min", half_past_seven, 25),
            ("90 min", half_past_seven, 90),
            ("19:55", half_past_seven, 25),
            ("19:30", half_past_seven, 0),
            // After midnight.
            ("0:15", half_past_seven, 285),
            ("07:05", 7 * 3_600, 5),
        ] {
            let start: Start = text.parse().expect(text);
            assert_eq!(start.after(now), Duration::from_secs(minutes * 60), "{text}");
        }
    }

    #[test]
    fn a_time_of_day_that_has_passed_is_told() {
        let now = 19 * 3_600 + 30 * 60;
        for (text, passed) in [
            ("19:29", Some("19:29")),
            ("7:05", Some("7:05")),
            ("19:30", None),
            ("25", None),
        ] {
            let start: Start = text.parse().expect(text);
            assert_eq!(start.passed(now).as_deref(), passed, "{text}");
        }
    }

    #[test]
    fn anything_else_is_refused() {
        for bad in [
            "", "soon", "24:00", "7:60", "19:3x", "+7:10", "7:", "-5", "1.5", "1441", "in min",
        ] {
            assert_eq!(bad.parse::<Start>(), Err(NotAStart(bad.to_owned())), "{bad}");
        }
    }
}
