//! Coordinators that discovery has heard of and that are not known: shown to the harpist, called only when she asks.

use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::{Name, Uptime};

use crate::link::Link;

/// A coordinator that is near and not known.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Stranger {
    /// The tag of the key that it claims to have.
    pub tag: String,
    /// What its ensemble claims to be called.
    pub name: Option<Name>,
}

/// Strangers shown at the same time: more ensembles do not rehearse in one building.
const STRANGERS_MAX: usize = 8;
/// Discovery asks every few seconds; what has not answered for so long has gone.
const SHOWN_FOR: Duration = Duration::from_secs(30);

impl Link {
    /// A coordinator was heard of: called when its tag is that of a known key, else only shown.
    pub(crate) fn sighted(&mut self, now: Uptime, stranger: Stranger, addresses: &[SocketAddr]) {
        let key = self.keys().find(|key| key.tag() == stranger.tag);
        let Some(key) = key else {
            self.show_stranger(now, &stranger);
            self.pairing.sighted(now, &stranger.tag, addresses);
            return;
        };
        let news = self.dialling.hint(addresses.iter().map(|&address| (address, key)));
        let resting = matches!(self.trouble, Some(crate::LinkState::Refused(_)));
        let wanted = self.invitation.is_none_or(|(invited, _)| invited == key);
        if news && wanted && !self.is_up() && !resting {
            self.dialling.hurry_now_and_then(now);
        }
        self.redraw();
    }

    fn show_stranger(&mut self, now: Uptime, stranger: &Stranger) {
        let until = now + SHOWN_FOR;
        let full = self.strangers.len() == STRANGERS_MAX;
        match self.strangers.iter_mut().find(|(shown, _)| shown.tag == stranger.tag) {
            Some((shown, shown_until)) => {
                *shown_until = until;
                if *shown == *stranger {
                    return;
                }
                shown.name.clone_from(&stranger.name);
            }
            // Made-up ones do not push out those that were there before.
            None if full => return,
            None => self.strangers.push((stranger.clone(), until)),
        }
        self.redraw();
    }

    /// Who has not been heard of for a while is not shown any more.
    pub(crate) fn keep_strangers(&mut self, now: Uptime) {
        let before = self.strangers.len();
        self.strangers.retain(|(_, until)| *until > now);
        if self.strangers.len() < before {
            self.redraw();
        }
    }

    /// When somebody is not shown any more.
    pub(crate) fn next_stranger_end(&self) -> Option<Uptime> {
        self.strangers.iter().map(|(_, until)| *until).min()
    }
}
