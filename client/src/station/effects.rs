//! Carrying out what the link wants, and taking in what the disk says of it.

use std::sync::Arc;

use consort_link::{Attempt, Effect, Event};
use consort_pairing::NotPaired;
use consort_peer::{Dialer, Identity};
use consort_proto::ToCoordinator;
use consort_words::{Arg, Key};
use tokio::time::Instant;

use super::{EventLoop, RETRY_AFTER};
use crate::pairing::Exchanges;
use crate::store::{Note, Written};

impl EventLoop {
    pub(super) fn perform(&mut self, effect: Effect) {
        match effect {
            Effect::Dial {
                attempt,
                address,
                expect,
            } => self.calls.dial(attempt, address, expect),
            Effect::Send { attempt, message } => self.calls.say(attempt, message),
            Effect::Close { attempt } => self.close(attempt),
            Effect::Pair {
                attempt,
                peer,
                binding,
                code,
            } => {
                let said = self.exchanges.start(attempt, peer, binding, code);
                self.prove(attempt, said);
            }
            Effect::Confirm {
                attempt,
                session,
                share,
                name,
            } => {
                let said = self.exchanges.confirm(attempt, session, share, name);
                self.prove(attempt, said);
            }
            Effect::CheckProof {
                attempt,
                ensemble,
                proof,
            } => {
                let right = self.exchanges.check(attempt, &ensemble, proof);
                self.tell(Event::Proof { attempt, right });
            }
            Effect::Pin { coordinator, address } => self.store.note(Note::Pinned(coordinator, address)),
            Effect::Journal(report) => self.store.journal(report),
            Effect::Forget { session, up_to } => {
                self.store.note(Note::Acked(session, up_to));
                self.refresh();
            }
            Effect::Remember { coordinator, address } => self.store.note(Note::Reached(coordinator, address)),
            Effect::Redraw => self.refresh(),
        }
    }

    /// Says the next word of a try, or that it is over.
    fn prove(&mut self, attempt: Attempt, said: Result<ToCoordinator, NotPaired>) {
        match said {
            Ok(message) => self.calls.say(attempt, message),
            Err(why) => {
                tracing::debug!(attempt = attempt.0, %why, "the code is not proven");
                self.tell(Event::Proof { attempt, right: false });
            }
        }
    }

    fn close(&mut self, attempt: Attempt) {
        self.exchanges.forget(attempt);
        self.calls.close(attempt);
    }

    /// The key goes aside and a fresh one takes its place: nobody knows this laptop any more.
    pub(super) fn renew(&mut self) {
        let renewed = Identity::renew(&self.folder)
            .map_err(|why| why.to_string())
            .and_then(|identity| {
                let own = identity.fingerprint();
                let dialer = Dialer::new(Arc::new(identity)).map_err(|why| why.to_string())?;
                Ok((own, dialer))
            });
        match renewed {
            Ok((own, dialer)) => {
                self.own_tag = own.tag();
                self.exchanges = Exchanges::new(own);
                self.calls.renew(dialer);
                self.tell(Event::Renewed);
                self.refresh();
            }
            Err(why) => self.notice(self.words.say(Key::ProblemOther, &[("why", Arg::from(why))])),
        }
    }

    pub(super) fn written(&mut self, written: Written) {
        match written {
            Written::Report(sequence) => {
                self.unwritten.remove(&sequence);
                self.on_disk = self.on_disk.max(sequence);
                // What the disk refused keeps back what came after it: the journal counts upwards.
                if self.unwritten.is_empty() {
                    self.tell(Event::Journalled(self.on_disk));
                }
            }
            Written::Pinned(coordinator, address) => self.tell(Event::Pinned { coordinator, address }),
            Written::NotReport(report, why) => {
                self.unwritten.insert(report.sequence, report);
                self.disk_refuses(&why);
            }
            Written::NotNote(note, why) => {
                // The newest of its kind is what has to be known.
                self.unnoted.retain(|older| !note.replaces(older));
                self.unnoted.push(note);
                self.disk_refuses(&why);
            }
        }
    }

    fn disk_refuses(&mut self, why: &str) {
        if self.retry_at.is_none() {
            self.retry_at = Some(Instant::now() + RETRY_AFTER);
            self.notice(why.to_owned());
        }
    }
}
