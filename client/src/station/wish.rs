//! What the harpist asks for at the desk, and what comes of it.

use std::fs;
use std::sync::Arc;
use std::time::Duration;

use consort_guide::listening::Kind;
use consort_guide::{LastCheck, Order, Pedals, Quick, Way};
use consort_link::Event;
use consort_proto::{Harp, HarpString, Mark, Naming, Setting, StringNumber, harp_file};
use consort_words::{Arg, Key};

use super::EventLoop;
use crate::feed::ToEar;
use crate::invitation::Invitation;
use crate::wrong;

/// What the harpist asks for at the desk.
#[derive(Clone, Debug)]
pub(crate) enum Wish {
    /// Mark a string, or take the mark back.
    Mark { string: StringNumber, mark: Option<Mark> },
    /// Join with what the leader gave.
    Join(Invitation),
    /// Something that the link does.
    Link(Event),
    /// Be a new laptop: one with a fresh key.
    Renew,
    /// Go on, since what was doubted of this string was looked at, or since what was too soft was hers.
    LookedAt(StringNumber),
    /// What has changed was seen.
    Seen,
    /// Show the desk though the start has passed.
    Wake,
    /// Ask for strings in this order.
    Order(Order),
    /// Name strings like this.
    Naming(Naming),
    /// The key goes this way to tighten; `None` when nobody wants to say.
    KeyWay(Option<Way>),
    /// Bring each string near first, or go on to the fine pass.
    Quick(bool),
    /// Begin a last check, or end it.
    LastCheck(bool),
    /// Follow this string alone, chosen by hand, until it is done; `None` lets it go.
    Choose(Option<StringNumber>),
    /// Check by listening, beginning on this string; `None` ends it.
    Listen(Option<(Kind, StringNumber)>),
    /// The pedals, or levers, stand like this.
    Pedals(Setting),
    /// Keep the last seconds: what was made of them is wrong.
    Wrong,
    /// Hear this input from now on; `None` for the one that the system prefers.
    Input(Option<String>),
    /// Play another harp from now on: its harp file.
    Harp(String),
    /// Take the last choice back.
    Undo,
}

impl EventLoop {
    pub(super) fn wish(&mut self, wish: Wish) {
        if let Wish::Order(_) | Wish::Naming(_) | Wish::KeyWay(_) | Wish::Input(_) | Wish::Harp(_) = wish {
            // What is chosen after it is taken back before it.
            self.slipped = None;
        }
        match wish {
            Wish::Mark { string, mark } => self.mark(string, mark),
            Wish::Join(invitation) => self.tell(invitation.into()),
            Wish::Link(event) => self.tell(event),
            Wish::Renew => self.renew(),
            Wish::LookedAt(string) => {
                if self.hearing.look_at(string, &self.image.borrow().advice) {
                    self.let_go_at = None;
                }
            }
            Wish::Seen => self.changed = None,
            Wish::Wake => self.woken = true,
            Wish::Order(order) => self.kept.change(|choices| choices.set_order(order)),
            Wish::Naming(naming) => self.kept.change(|choices| choices.set_naming(naming)),
            Wish::KeyWay(way) => {
                let harp = self.harp.name().to_owned();
                self.kept.change(|choices| choices.set_way(&harp, way));
            }
            Wish::Quick(on) => self.hearing.set_quick(on.then(Quick::default)),
            Wish::LastCheck(on) => self.hearing.set_last_check(on.then(LastCheck::default)),
            Wish::Choose(string) => {
                // The ear may have ended with its sound.
                let _ = self.ear.send(ToEar::Choose(string));
                self.let_go_at = None;
                self.hearing.choose(string);
            }
            Wish::Listen(asked) => return self.listen(asked),
            Wish::Pedals(setting) => self.declare(setting),
            Wish::Wrong => return self.keep_what_was_wrong(),
            Wish::Input(input) => {
                self.kept.change(|choices| choices.set_input(input));
                self.anew = true;
            }
            Wish::Harp(text) => return self.play_another_harp(&text),
            Wish::Undo => return self.undo(),
        }
        self.refresh();
    }

    /// Strings are heard as they stand now, and turned only where they are open.
    fn declare(&mut self, setting: Setting) {
        let pedals = Pedals::declared(&self.harp, setting);
        let in_order = pedals.is_none();
        let sounding = pedals.as_ref().map(|pedals| Arc::new(pedals.sounding().clone()));
        let harp = sounding.unwrap_or_else(|| self.harp.clone());
        // The ear may have ended with its sound.
        let _ = self.ear.send(ToEar::Resound { harp, in_order });
        self.hearing.declare(pedals);
    }

    fn play_another_harp(&mut self, text: &str) {
        let text = &self.without_allowances(text);
        // Whoever has never said which harp it is plays the usual one.
        let usual = || {
            harp_file::write(&self.own_harp)
                .map(String::into_bytes)
                .unwrap_or_default()
        };
        let before = self.folder.read(HARP_FILE).ok().flatten().unwrap_or_else(usual);
        let kept = self
            .folder
            .write(HARP_BEFORE, &before)
            .and_then(|()| self.folder.write(HARP_FILE, text.as_bytes()));
        match kept {
            Ok(()) => self.anew = true,
            Err(why) => self.say_problem(why.to_string()),
        }
    }

    /// The harp file `text` with the errors of discs as the harp's own file has them: what is allowed for is the record's.
    fn without_allowances(&self, text: &str) -> String {
        let Ok(harp) = harp_file::parse(text) else {
            return text.to_owned();
        };
        let pairs = || self.harp.strings().iter().zip(self.own_harp.strings());
        let strings = harp.strings().iter().map(|string| {
            let own = pairs().find(|(played, _)| played.open == string.open && played.regulation == string.regulation);
            let regulation = own.map_or(string.regulation, |(_, own)| own.regulation);
            HarpString { regulation, ..*string }
        });
        let plain = Harp::new(harp.name().to_owned(), harp.kind(), strings.collect());
        let written = plain.ok().and_then(|plain| harp_file::write(&plain).ok());
        written.unwrap_or_else(|| text.to_owned())
    }

    /// Takes back the last choice, the last string that was marked as new, or the last change of the harp.
    fn undo(&mut self) {
        let input = self.kept.now().input().map(str::to_owned);
        if self.unmark() {
            // The newest is taken back first.
        } else if self.kept.undo() {
            self.anew = self.kept.now().input() != input.as_deref();
        } else if let Some(before) = self
            .folder
            .read(HARP_BEFORE)
            .ok()
            .flatten()
            .filter(|_| self.had_another_harp())
        {
            self.play_another_harp(&String::from_utf8_lossy(&before));
            return;
        }
        self.refresh();
    }

    /// Whether there is a harp to go back to.
    pub(super) fn had_another_harp(&self) -> bool {
        let changed = fs::metadata(self.folder.file(HARP_BEFORE)).and_then(|file| file.modified());
        changed.is_ok_and(|at| at.elapsed().is_ok_and(|since| since < HARP_BACK_WITHIN))
    }

    /// Whether somebody has said which harp this is.
    pub(super) fn knows_its_harp(&self) -> bool {
        self.folder.file(HARP_FILE).is_file()
    }

    fn keep_what_was_wrong(&mut self) {
        let data = self.folder.file("");
        let kept = wrong::place(&data).and_then(|path| {
            fs::write(path.with_extension("jsonl"), self.lately.text())?;
            Ok(path)
        });
        match kept {
            Ok(path) => {
                let shown = ("file", Arg::from(path.display().to_string()));
                // The ear may have ended with its sound.
                if self.ear.send(ToEar::Keep(path)).is_ok() {
                    self.notice(self.words.say(Key::WrongKept, &[shown]));
                } else {
                    self.notice(self.words.say(Key::InputEnded, &[]));
                }
            }
            Err(why) => self.say_problem(why.to_string()),
        }
    }

    fn say_problem(&mut self, why: String) {
        self.notice(self.words.say(Key::ProblemOther, &[("why", Arg::from(why))]));
    }
}

/// The harp that is played, as a harp file, and the one before it.
pub(crate) const HARP_FILE: &str = "harp.toml";
const HARP_BEFORE: &str = "harp-before.toml";
/// A change of the harp is taken back within this time: later a slip on the key would cost what was tuned since.
const HARP_BACK_WITHIN: Duration = Duration::from_secs(15 * 60);
