//! More that is said of a string that was put on: it takes the place of what was known, and is taken back as one.

use consort_record::{Fitting, Life};
use rusqlite::Transaction;
use serde::{Deserialize, Serialize};

use crate::entries::{Entry, note_edit, put};
use crate::error::RecordError;
use crate::form::FittingForm;
use crate::harps::{HarpId, Kept, json};
use crate::store::Store;

/// A string of which no more was known than that it was put on, and what was said of it then.
#[derive(Debug, Deserialize, Serialize)]
pub(crate) struct FittingEdit {
    plain: FittingForm,
    told: FittingForm,
}

/// The kind of an edit that said more of a string that was put on.
pub(crate) const SAID_MORE: &str = "fitting-told";

impl FittingEdit {
    /// Takes it back: what was known before stands again. Gives what had been said.
    pub(crate) fn take_back(self, transaction: &Transaction<'_>, harp: HarpId) -> Result<Entry, RecordError> {
        let read = |form: FittingForm| {
            let said = |(field, why)| RecordError::Harp(format!("{SAID_MORE}: {field}: {why}"));
            form.fitting().map(Entry::Fitting).map_err(said)
        };
        let (plain, told) = (read(self.plain)?, read(self.told)?);
        put(transaction, harp, &told, true)?;
        put(transaction, harp, &plain, false)?;
        Ok(told)
    }
}

impl Store {
    /// The entry that says of the same string no more than that it was put on: on the same day, or on the next, when
    /// somebody first marked it. `fitting` says more of it.
    pub(crate) fn plainly(&self, kept: &Kept, fitting: &Fitting) -> Result<Option<Fitting>, RecordError> {
        let usual = kept.sheet.harp.string(fitting.string).map(|string| string.material);
        let is_plain = |one: &Fitting| Some(one.material) == usual && one.gauge_mm.is_none() && one.length.is_none();
        let mut life = Life::new(kept.sheet.clone());
        self.read_entries(kept.id, &mut life)?;
        let days = [fitting.on, fitting.on.plus(1)];
        let same = |one: &Fitting| one.string == fitting.string && days.contains(&one.on) && one != fitting;
        // A plain entry of the same day says nothing that the other does not say as well.
        let says_more = !is_plain(fitting);
        let mut known = life.fittings.into_iter();
        Ok(known.find(|one| says_more && same(one) && is_plain(one)))
    }

    /// Puts `fitting` in the place of `plain`, in one change that is taken back as one.
    pub(crate) fn say_more(&mut self, harp: HarpId, plain: &Fitting, fitting: &Fitting) -> Result<(), RecordError> {
        let transaction = self.change()?;
        put(&transaction, harp, &Entry::Fitting(plain.clone()), true)?;
        put(&transaction, harp, &Entry::Fitting(fitting.clone()), false)?;
        let edit = FittingEdit {
            plain: FittingForm::of(plain),
            told: FittingForm::of(fitting),
        };
        note_edit(&transaction, harp, SAID_MORE, &json(&edit)?, None)?;
        transaction.commit()?;
        Ok(())
    }
}
