//! New strings in the record: written as the desk marks them, and what the record says of them and of allowances.

use consort_proto::{Harp, StringNumber};
use consort_record::settling::{Settling, settling};
use consort_record::{Date, Fitting};
use consort_record_store::{Entry, HarpId, Kept, RecordError, Store};

use crate::record;
use crate::renewals::Noted;

/// The harp of the record that is heard here.
fn kept(store: &Store, harp: HarpId) -> Result<Kept, RecordError> {
    let mut harps = store.harps()?.into_iter();
    harps.find(|kept| kept.id == harp).ok_or(RecordError::NoHarpYet)
}

/// Writes down that `string` was put on; not when the record has it of these days, since then it is the same string.
pub(super) fn renew(store: &mut Store, harp: HarpId, string: StringNumber, today: Date) -> Result<bool, RecordError> {
    let kept = kept(store, harp)?;
    let life = store.outline(&kept)?;
    let is_known = life
        .fitted(string)
        .is_some_and(|fitting| Settling::of(fitting, today).is_some());
    let Some(fitting) = plain(&kept, string, today).filter(|_| !is_known) else {
        return Ok(false);
    };
    record::set_aside(store, &kept, string, today)?;
    store.write(&kept, &Entry::Fitting(fitting), today)?;
    Ok(true)
}

/// Takes out that `string` was put on on the day `today`, as long as nobody has said more of it.
pub(super) fn take_back(store: &mut Store, harp: HarpId, string: StringNumber, today: Date) -> Result<(), RecordError> {
    let kept = kept(store, harp)?;
    let Some(fitting) = plain(&kept, string, today) else {
        return Ok(());
    };
    match store.take_out(&kept, &Entry::Fitting(fitting)) {
        Err(RecordError::NoSuchEntry) => Ok(()),
        done => done,
    }
}

/// A string that was put on, of the harp's usual kind, of which nothing else is known.
fn plain(kept: &Kept, string: StringNumber, on: Date) -> Option<Fitting> {
    let material = kept.sheet.harp.string(string)?.material;
    Some(Fitting {
        string,
        on,
        material,
        gauge_mm: None,
        length: None,
    })
}

/// What the record says of new strings and of what is allowed for on `played`, the harp as its file has it.
pub(super) fn noted(store: &Store, harp: HarpId, played: &Harp, today: Date) -> Result<Noted, RecordError> {
    let kept = kept(store, harp)?;
    let life = store.outline(&kept)?;
    let strings = kept.sheet.harp.numbered();
    Ok(Noted {
        harp: record::allowing_in(store, &kept, played)?,
        settling: settling(&life, today),
        put_on: strings
            .filter_map(|(number, _)| Some((number, life.fitted(number)?.on.to_string())))
            .collect(),
    })
}
