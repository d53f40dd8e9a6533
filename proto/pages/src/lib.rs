//! What the pages of both programs have in common: the guard in front of them and the stream that keeps them fresh.

mod guard;
mod stream;

pub use guard::{Guard, same, with_headers};
pub use stream::stream;
