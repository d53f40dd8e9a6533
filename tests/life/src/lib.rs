//! Lives of harps with known truth: what a record would hold of years of tuning, and what was really wrong.
//!
//! Two generators tell the same kind of story by different laws, so that findings that hold for both were not learnt
//! from one of them: [`Wooden`] follows physics with smooth weather and normal noise, [`Drawn`] draws spells of weather
//! and heavy-tailed noise, and solves a string's partials numerically.
//! Neither knows anything of how findings are made.

mod drawn;
mod partials;
mod plot;
mod wooden;

pub use drawn::Drawn;
pub use partials::{first_order_cents, solved_cents};
pub use plot::{Plot, Storyteller, Trouble, Truth};
pub use wooden::Wooden;
