//! Everything that can happen to a session.

use std::net::IpAddr;
use std::time::Duration;

use consort_proto::message::Proposal;
use consort_proto::{
    Binding, Fingerprint, JoinCode, Note, ReferencePitch, Setting, Temperament, ToCoordinator, Tolerance,
};

use crate::record::Ticket;

/// One QUIC connection, numbered by the shell; a number is never used again.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct LinkId(pub u64);

/// What the shell tells the session.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A peer finished the TLS handshake and proved that it holds the key of `peer`.
    LinkOpened {
        /// The new link.
        link: LinkId,
        /// Whose it is.
        peer: Fingerprint,
        /// From where.
        from: IpAddr,
        /// What only the two ends of the link have in common.
        binding: Binding,
    },
    /// A message arrived whole and in range.
    Heard {
        /// On which link.
        link: LinkId,
        /// What was said.
        message: ToCoordinator,
    },
    /// A code was drawn at random: for now, or for when the one that is shown is used up.
    Code(JoinCode),
    /// Whether the proof that a station gave is right.
    Proof {
        /// On which link.
        link: LinkId,
        /// Whether.
        right: bool,
    },
    /// The link is gone, for whatever reason.
    LinkClosed {
        /// Which one.
        link: LinkId,
    },
    /// Every record up to this ticket rests on the disk.
    Persisted(Ticket),
    /// The disk took no record: nothing from this ticket on that was handed over before this event is safe.
    ///
    /// May be said once for all of it or once for each ticket.
    NotPersisted(Ticket),
    /// The holder of a key looks at the board over a link of its own, or does not any more.
    Watching {
        /// Whose key.
        peer: Fingerprint,
        /// Whether.
        looks: bool,
    },
    /// This laptop slept, or the program was stopped: what was not heard meanwhile is nobody's silence.
    Woke,
    /// The leader decided something.
    Command(Command),
    /// The time of [`crate::Session::poll_timeout`] has come.
    Tick,
}

/// What the leader can decide.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// A new reference pitch.
    Pitch(ReferencePitch),
    /// A reference pitch from the next round on; `None` for none after all.
    NextPitch(Option<ReferencePitch>),
    /// A new temperament.
    Temperament(Temperament),
    /// A new pedal setting for the temperament to serve.
    Setting(Setting),
    /// New tolerances.
    Tolerance(Tolerance),
    /// The start, this far from now; `None` clears it.
    Start(Option<Duration>),
    /// Tune everything anew.
    NewRound,
    /// Take back the last change of the agreement.
    Undo,
    /// Open or close joining for stations that are not known yet; opening it shows a fresh code, also while it is open.
    Joining(bool),
    /// Turn a station away until it is let back in.
    Remove(Fingerprint),
    /// Let a removed station back in.
    LetBack(Fingerprint),
    /// Let in who knocks without a code.
    Admit(Fingerprint),
    /// Say no to who knocks.
    Decline(Fingerprint),
    /// Say for its holder whether a seat may be taken over.
    GiveUp {
        /// The seat's number.
        seat: u32,
        /// Whether it may.
        yes: bool,
    },
    /// Ask everyone for this string; `None` for no more.
    Call(Option<Note>),
    /// Grant a station to change the agreement as a deputy, or take that back.
    Deputy {
        /// Whose.
        peer: Fingerprint,
        /// Whether it may.
        granted: bool,
    },
    /// Show the seats of these stations first, in this order, the others after them as they were.
    Order(Vec<Fingerprint>),
    /// Make the board's address anew: the one before opens nothing any more.
    RenewBoard,
    /// Silence the reference tones of all desks, or let them sound again.
    Tones {
        /// Whether they may sound.
        allowed: bool,
    },
    /// Propose a reference pitch that this laptop has measured.
    Propose(Proposal),
    /// Put the proposed reference pitch away.
    DropProposal,
}
