//! All wires of a hall. There are a handful at a time, so that looking through them is faster than any tree.

use super::wires::{Wire, WireId};

/// Wires by their numbers, which are never used again, over all lives of the coordinator.
#[derive(Debug, Default)]
pub(super) struct Wires {
    /// In the order in which they were laid.
    laid: Vec<Wire>,
    last: WireId,
}

impl Wires {
    /// Lays the wire that `wire` makes for its number.
    pub(super) fn lay(&mut self, wire: impl FnOnce(WireId) -> Wire) -> WireId {
        self.last += 1;
        self.laid.push(wire(self.last));
        self.last
    }

    pub(super) fn get(&self, id: WireId) -> Option<&Wire> {
        self.laid.iter().find(|wire| wire.id == id)
    }

    pub(super) fn get_mut(&mut self, id: WireId) -> Option<&mut Wire> {
        self.laid.iter_mut().find(|wire| wire.id == id)
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &Wire> {
        self.laid.iter()
    }

    pub(super) fn iter_mut(&mut self) -> impl Iterator<Item = &mut Wire> {
        self.laid.iter_mut()
    }

    /// Forgets the wire if no end of it is open any more.
    pub(super) fn sweep(&mut self, id: WireId) {
        self.laid.retain(|wire| wire.id != id || wire.up_end || wire.down_end);
    }
}
