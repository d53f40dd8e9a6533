//! Data folders: one holder at a time, files that arrive whole, SQLite that survives a power cut.
//!
//! Nothing that a person may still want is ever overwritten: what cannot be read is put aside under a dated name, and
//! the caller is told so that it can be said.

pub mod agreement;
pub mod column;
pub mod database;
pub mod folder;
pub mod lines;
pub mod writer;

pub use database::{Database, DatabaseError, Newer, Unreadable};
pub use folder::{Folder, FolderError};
pub use lines::Lines;
pub use writer::{Disk, Work, Writer, WriterError, Written};
