//! The columns in which both programs keep an agreement.

use consort_proto::{Agreement, ReferencePitch, Revision, Round, Scheme, SessionId, Temperament, Tolerance, Tuning};
use rusqlite::Row;
use rusqlite::types::Value;

use crate::Unreadable;
use crate::column::{cents, meaningless, parsed};

/// The columns of an agreement, in the order of [`values`]; the session's own id is kept elsewhere.
pub const COLUMNS: &str = "revision, ensemble, a4_hz, temperament, offsets, setting, \
     tolerance_middle_cents, tolerance_wires_cents, tolerance_top_cents, round, called";

/// What goes into [`COLUMNS`].
pub fn values(agreement: &Agreement) -> [Value; 11] {
    let tuning = &agreement.tuning;
    let offsets = tuning.temperament.offsets().map(|offset| offset.0.to_string());
    let scheme = tuning.temperament.scheme().map(|scheme| scheme.word().to_owned());
    [
        Value::Integer(agreement.revision.0.cast_signed()),
        Value::Text(agreement.ensemble.as_str().to_owned()),
        Value::Real(tuning.a4.hz().get()),
        scheme.map_or(Value::Null, Value::Text),
        Value::Text(offsets.join(" ")),
        Value::Text(tuning.setting.to_string()),
        Value::Real(agreement.tolerance.middle.0),
        Value::Real(agreement.tolerance.wires.0),
        Value::Real(agreement.tolerance.top.0),
        Value::Integer(agreement.round.0.into()),
        agreement
            .called
            .map_or(Value::Null, |note| Value::Text(note.to_string())),
    ]
}

/// The agreement in a row that has [`COLUMNS`], to the last bit of what was written.
pub fn read(row: &Row<'_>, session: SessionId) -> Result<Agreement, Unreadable> {
    let temperament = match row.get::<_, Option<String>>("temperament")? {
        Some(word) => Scheme::from_word(&word)
            .map(Temperament::named)
            .ok_or_else(|| meaningless(format!("“{word}” is no temperament")))?,
        None => {
            let text: String = row.get("offsets")?;
            let offsets: Result<Vec<f64>, _> = text.split(' ').map(str::parse::<f64>).collect();
            Temperament::own(&offsets.map_err(meaningless)?).map_err(meaningless)?
        }
    };
    Ok(Agreement {
        session,
        revision: Revision(row.get::<_, i64>("revision")?.cast_unsigned()),
        ensemble: parsed(row, "ensemble")?,
        tuning: Tuning {
            a4: ReferencePitch::new(row.get("a4_hz")?).map_err(meaningless)?,
            temperament,
            setting: parsed(row, "setting")?,
        },
        tolerance: Tolerance {
            middle: cents(row, "tolerance_middle_cents")?,
            wires: cents(row, "tolerance_wires_cents")?,
            top: cents(row, "tolerance_top_cents")?,
        },
        round: Round(row.get("round")?),
        called: match row.get::<_, Option<String>>("called")? {
            Some(note) => Some(note.parse().map_err(meaningless)?),
            None => None,
        },
    })
}
