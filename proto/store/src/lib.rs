//! Data folders: one holder at a time, SQLite that survives a power cut, damaged files put aside.
