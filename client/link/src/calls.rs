//! The calls that were made and not given up: a handful, so that looking through them is faster than any tree.

use crate::dialling::Call;
use crate::event::Attempt;

/// Calls by their attempts, in the order in which they were made.
#[derive(Debug, Default)]
pub(crate) struct Calls(Vec<(Attempt, Call)>);

impl Calls {
    /// Adds the call of `attempt`, which is newer than all that were made before.
    pub(crate) fn add(&mut self, attempt: Attempt, call: Call) {
        self.0.push((attempt, call));
    }

    pub(crate) fn get(&self, attempt: Attempt) -> Option<&Call> {
        let found = self.0.iter().find(|(made, _)| *made == attempt);
        found.map(|(_, call)| call)
    }

    pub(crate) fn get_mut(&mut self, attempt: Attempt) -> Option<&mut Call> {
        let found = self.0.iter_mut().find(|(made, _)| *made == attempt);
        found.map(|(_, call)| call)
    }

    pub(crate) fn remove(&mut self, attempt: Attempt) -> Option<Call> {
        let place = self.0.iter().position(|(made, _)| *made == attempt)?;
        Some(self.0.remove(place).1)
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (Attempt, &Call)> {
        self.0.iter().map(|(attempt, call)| (*attempt, call))
    }
}
