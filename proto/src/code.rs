//! The joining code: eight digits on the leader's screen, typed once into a station.

use std::fmt;
use std::str::FromStr;

/// Seven random digits and a check digit; prints as `4829 1375`, and as `…` in logs.
///
/// The check digit lets a station tell a slip of the finger by itself, so that what reaches the coordinator wrongly is
/// hardly ever a mistake.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct JoinCode([u8; JoinCode::DIGITS]);

/// Why a text is not a joining code.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotAJoinCode {
    /// Something else than digits, spaces and hyphens.
    #[error("“{0}” is not part of a code: it has 8 digits, as in 4829 1372")]
    Character(char),
    /// Too few digits or too many.
    #[error("a code has 8 digits, as in 4829 1372, not {0}: look at the leader's screen")]
    Digits(usize),
    /// The check digit does not fit the others.
    #[error("one digit of the code looks off: compare it with the leader's screen")]
    Check,
}

/// Codes that can be drawn: all that seven digits give.
const CODES: u64 = 10_000_000;

impl JoinCode {
    /// Digits of a code, the check digit included.
    pub const DIGITS: usize = 8;

    /// The code that `random` stands for: every code is equally likely, but for less than one in 10¹², when all values
    /// of `random` are.
    pub fn drawn(random: u64) -> Self {
        let mut left = random % CODES;
        let mut digits = [0; Self::DIGITS];
        for digit in digits[..Self::DIGITS - 1].iter_mut().rev() {
            *digit = (left % 10) as u8;
            left /= 10;
        }
        digits[Self::DIGITS - 1] = interim(&digits[..Self::DIGITS - 1]);
        Self(digits)
    }

    /// The eight digits in ASCII, without a space: what both ends prove to know.
    pub fn ascii(self) -> [u8; Self::DIGITS] {
        self.0.map(|digit| b'0' + digit)
    }
}

impl FromStr for JoinCode {
    type Err = NotAJoinCode;

    fn from_str(text: &str) -> Result<Self, NotAJoinCode> {
        let mut digits = [0; Self::DIGITS];
        let mut typed = 0;
        for c in text.chars().filter(|&c| !is_gap(c)) {
            let digit = c.to_digit(10).ok_or(NotAJoinCode::Character(c))?;
            if let Some(place) = digits.get_mut(typed) {
                *place = digit as u8;
            }
            typed += 1;
        }
        if typed != Self::DIGITS {
            return Err(NotAJoinCode::Digits(typed));
        }
        // The check digit takes the sum of all others back to zero.
        if interim(&digits) != 0 {
            return Err(NotAJoinCode::Check);
        }
        Ok(Self(digits))
    }
}

impl fmt::Display for JoinCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, digit) in self.0.iter().enumerate() {
            let gap = if place == Self::DIGITS / 2 { " " } else { "" };
            write!(f, "{gap}{digit}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for JoinCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JoinCode(…)")
    }
}

/// What people put between groups of digits: spaces and hyphens of any kind.
const fn is_gap(c: char) -> bool {
    c.is_whitespace() || matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{ad}')
}

/// The check digit of `digits`; 0 when they end in their own.
fn interim(digits: &[u8]) -> u8 {
    digits
        .iter()
        .fold(0, |interim, &digit| DAMM[usize::from(interim)][usize::from(digit)])
}

/// The table of H. Michael Damm, "Total anti-symmetrische Quasigruppen", thesis, Marburg 2004: finds every wrong digit and
/// every swap of two neighbours.
const DAMM: [[u8; 10]; 10] = [
    [0, 3, 1, 7, 5, 9, 8, 6, 4, 2],
    [7, 0, 9, 2, 1, 5, 4, 8, 6, 3],
    [4, 2, 0, 6, 8, 7, 1, 3, 5, 9],
    [1, 7, 5, 0, 9, 8, 3, 4, 2, 6],
    [6, 1, 2, 3, 0, 4, 5, 9, 7, 8],
    [3, 6, 7, 4, 2, 0, 9, 5, 8, 1],
    [5, 8, 6, 9, 7, 2, 0, 1, 3, 4],
    [8, 9, 4, 5, 3, 6, 2, 0, 1, 7],
    [9, 4, 3, 8, 6, 1, 7, 2, 0, 5],
    [2, 5, 8, 1, 4, 3, 6, 7, 9, 0],
];
