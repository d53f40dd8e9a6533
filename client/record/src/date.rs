//! Days and moments of a harp's life, counted from 1970 in UTC.

use std::fmt;
use std::str::FromStr;

/// A day, counted from 1 January 1970; prints as `2026-11-25`.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Date(i32);

/// Why a text is not a day.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("“{0}” is not a day: write year, month and day, as in 2026-11-25")]
pub struct NotADate(pub String);

/// A moment in seconds since 1970; prints as `2026-11-25T19:30:00Z`.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Moment(pub i64);

/// Why a text is not a moment.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("“{0}” is not a moment: write day and time in UTC, as in 2026-11-25T19:30:00Z")]
pub struct NotAMoment(pub String);

/// Seconds in a day.
pub const DAY_S: i64 = 86_400;
/// The years that a record may speak of: no harp of before is still tuned, and no laptop's clock is right after.
const YEARS: std::ops::RangeInclusive<i64> = 1700..=2999;

impl Date {
    /// The day so many `days` after 1 January 1970.
    pub const fn from_days(days: i32) -> Self {
        Self(days)
    }

    /// Days after 1 January 1970.
    pub const fn days(self) -> i32 {
        self.0
    }

    /// The day `days` later.
    pub const fn plus(self, days: i32) -> Self {
        Self(self.0.saturating_add(days))
    }

    /// How many days `earlier` lies before this one; negative when it comes later.
    pub const fn days_since(self, earlier: Self) -> i32 {
        self.0.saturating_sub(earlier.0)
    }

    /// Noon UTC of the day: what is known to the day only happened then.
    pub const fn noon(self) -> Moment {
        Moment(self.0 as i64 * DAY_S + DAY_S / 2)
    }

    /// The day of `year`, `month` from 1 and `day` from 1, if there is one.
    ///
    /// Days are counted in years that begin in March, so that the leap day comes last.
    pub fn of(year: i64, month: i64, day: i64) -> Option<Self> {
        if !YEARS.contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
            return None;
        }
        let march_year = year - i64::from(month <= 2);
        let (era, year_of_era) = (march_year.div_euclid(400), march_year.rem_euclid(400));
        let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        let date = Self((era * DAYS_PER_ERA + day_of_era - MARCH_YEAR_ZERO) as i32);
        // 31 November counts on into December: such a day does not print as it was written.
        (date.parts() == (year, month, day)).then_some(date)
    }

    /// Year, month from 1 and day from 1.
    pub fn parts(self) -> (i64, i64, i64) {
        let days = i64::from(self.0) + MARCH_YEAR_ZERO;
        let (era, day_of_era) = (days.div_euclid(DAYS_PER_ERA), days.rem_euclid(DAYS_PER_ERA));
        let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let month_from_march = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
        let month = (month_from_march + 2) % 12 + 1;
        (era * 400 + year_of_era + i64::from(month <= 2), month, day)
    }
}

/// Days in 400 years.
const DAYS_PER_ERA: i64 = 146_097;
/// 1 March of the year 0 lies this many days before 1 January 1970.
const MARCH_YEAR_ZERO: i64 = 719_468;

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.parts();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

impl FromStr for Date {
    type Err = NotADate;

    fn from_str(text: &str) -> Result<Self, NotADate> {
        let bad = || NotADate(text.chars().take(40).collect());
        let mut numbers = text.trim().splitn(3, '-').map(digits);
        let mut next = || numbers.next().flatten();
        let (year, month, day) = (next(), next(), next());
        match (year, month, day) {
            (Some(year), Some(month), Some(day)) => Self::of(year, month, day).ok_or_else(bad),
            _ => Err(bad()),
        }
    }
}

/// A number of digits only: no sign, no blank.
fn digits(text: &str) -> Option<i64> {
    let plain = !text.is_empty() && text.len() <= 4 && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

impl Moment {
    /// The day in UTC.
    pub const fn date(self) -> Date {
        Date(self.0.div_euclid(DAY_S) as i32)
    }

    /// Days that passed since `earlier`, with their fraction; negative when it comes later.
    pub fn days_since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / DAY_S as f64
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let second = self.0.rem_euclid(DAY_S);
        let date = self.date();
        write!(
            f,
            "{date}T{:02}:{:02}:{:02}Z",
            second / 3_600,
            second / 60 % 60,
            second % 60
        )
    }
}

impl FromStr for Moment {
    type Err = NotAMoment;

    fn from_str(text: &str) -> Result<Self, NotAMoment> {
        let bad = || NotAMoment(text.chars().take(40).collect());
        let (date, time) = text.trim().split_once('T').ok_or_else(bad)?;
        let date: Date = date.parse().map_err(|_| bad())?;
        let mut numbers = time.strip_suffix('Z').ok_or_else(bad)?.splitn(3, ':').map(digits);
        let mut next = |limit| numbers.next().flatten().filter(|&number| number < limit);
        match (next(24), next(60), next(60)) {
            (Some(hour), Some(minute), Some(second)) => Ok(Self(
                i64::from(date.days()) * DAY_S + hour * 3_600 + minute * 60 + second,
            )),
            _ => Err(bad()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checked against `date --utc --date=DAY +%s`.
    #[test]
    fn days_are_counted_from_1970() {
        for (text, days) in [
            ("1970-01-01", 0),
            ("1969-12-31", -1),
            ("2000-02-29", 11_016),
            ("2026-11-25", 20_782),
            ("2100-03-01", 47_541),
        ] {
            let date: Date = text.parse().expect("a day");
            assert_eq!((date.days(), date.to_string().as_str()), (days, text));
        }
    }

    #[test]
    fn what_no_calendar_has_is_no_day() {
        for text in [
            "2026-02-29",
            "2026-11-31",
            "2026-13-01",
            "2026-00-10",
            "26-11-25",
            "2026-11",
            "",
            "2026-11-25x",
            "+026-11-25",
        ] {
            assert!(text.parse::<Date>().is_err(), "{text}");
        }
    }

    #[test]
    fn a_moment_reads_as_it_prints() {
        for text in ["2026-11-25T19:30:05Z", "1969-12-31T23:59:59Z"] {
            let moment: Moment = text.parse().expect("a moment");
            assert_eq!(moment.to_string(), text);
        }
        for text in [
            "2026-11-25T24:00:00Z",
            "2026-11-25 19:30:00Z",
            "2026-11-25T19:30:00",
            "2026-11-25T19:30Z",
        ] {
            assert!(text.parse::<Moment>().is_err(), "{text}");
        }
    }
}
