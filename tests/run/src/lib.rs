//! What the commands share with the rehearsal that `cargo demo` starts on a private network.

#[cfg(unix)]
pub mod forward;
