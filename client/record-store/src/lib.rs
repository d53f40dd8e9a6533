//! The record of harps on disk: opened quickly, written so that nothing acknowledged is lost, moved as CSV and JSON.
//!
//! Several programs may use one record at the same time; each write is a transaction that waits for the disk.
//! What a newer program wrote is opened to be read only. What anything means is decided in `consort-record`.

pub mod csv;
mod entries;
mod error;
mod form;
mod harps;
mod layout;
mod readings;
mod said_more;
mod store;
mod transfer;

pub use entries::{Entry, Undone};
pub use error::{NotImported, RecordError};
pub use form::Whole;
pub use harps::{HarpId, Kept, called};
pub use readings::{Point, TuningId};
pub use store::Store;
pub use transfer::{Imported, Whose};
