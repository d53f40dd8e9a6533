//! What a session looks back on: how old it is what harps reported, and what the room did to their strings since.

use std::time::Duration;

use crate::harp::Material;
use crate::units::Cents;

/// How old it is what a harp last reported.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Age {
    /// How long ago the oldest of the strings that hold was last plucked; `None` where that is not known.
    pub confirmed: Option<Duration>,
    /// How long ago the harp was ready, when that has to be confirmed in a new round.
    pub to_confirm: Option<Duration>,
}

/// What a material did on most harps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomMove {
    /// The material.
    pub material: Material,
    /// The median over harps of how far its strings moved; negative when they fell.
    pub cents: Cents,
    /// Harps on which it moved that way.
    pub harps: usize,
    /// Harps on which it was heard again at all.
    pub of: usize,
    /// How long ago the strings were left, in the median.
    pub since: Duration,
}
