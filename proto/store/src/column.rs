//! Columns read into types: whatever a file says that means nothing is refused with the reason.

use std::fmt::Display;
use std::str::FromStr;

use consort_proto::Cents;
use rusqlite::Row;

use crate::Unreadable;

/// The value that the text of `column` spells.
pub fn parsed<T: FromStr<Err: Display>>(row: &Row<'_>, column: &str) -> Result<T, Unreadable> {
    row.get::<_, String>(column)?.parse().map_err(meaningless)
}

/// Cents, finite.
pub fn cents(row: &Row<'_>, column: &str) -> Result<Cents, Unreadable> {
    let cents: f64 = row.get(column)?;
    if cents.is_finite() {
        Ok(Cents(cents))
    } else {
        Err(meaningless(format!("{column} is no number")))
    }
}

/// What was read means nothing, for this reason.
pub fn meaningless(why: impl Display) -> Unreadable {
    Unreadable::Meaningless(why.to_string())
}
