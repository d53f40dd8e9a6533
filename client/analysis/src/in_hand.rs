//! The string that was chosen by hand, over several plucks: it is turned between them and while it sounds, and other strings
//! answer it wherever it was. It is chased from its first pluck on until it is heard no more, whatever becomes of its notes: of
//! a string that rings on, a pluck can be missed and a swell be taken for one.

use consort_proto::{Cents, Hz};

use crate::character::expected_stiffness;
use crate::chase::{Chase, Trail};
use crate::fit::CENT;
use crate::history::History;
use crate::note::Note;
use crate::trend::Trend;

/// It is told of while its partials have this many times the power of noise (10 dB): it is waited for, and nothing else.
const CLEAR: f64 = 10.0;
/// Where it is plucked within this of where it was chased to, cents, it is chased on: of 800 plucks of strings that were chased
/// well all lay within 14 cents (virtual harps).
const CHASED_ON_CENTS: f64 = 15.0;
/// Elsewhere it was plucked only if the power there grew so many times, and so many while it is known within so many cents where
/// it is: others that answered it where it was swell, and nothing of that is new.
const PLUCKED_ELSEWHERE: f64 = 4.4;
const PLUCKED_FOR_ALL: f64 = 12.0;
const SURE_CENTS: f64 = 4.0;
/// Where it was plucked elsewhere, and is not found there in so many looks, it was not.
const NOT_FOUND: u32 = 4;

/// The chosen string.
#[derive(Debug)]
pub(crate) struct InHand {
    rate: f64,
    /// Its number, and the onset of its last pluck.
    string: u8,
    onset: u64,
    chase: Chase,
    trend: Trend,
    /// How it was chased before a pluck elsewhere that is not confirmed yet. Its onset stays that of the newest all the same:
    /// whoever is told of where it stands takes older ones for over.
    doubted: Option<(Trail, Trend)>,
}

/// Where it stands just now.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stands {
    pub(crate) onset: u64,
    pub(crate) string: u8,
    pub(crate) hz: Hz,
    pub(crate) sigma: Cents,
}

impl InHand {
    /// Looks at sound of `rate` samples in a second.
    pub(crate) fn new(rate: f64) -> Self {
        Self {
            rate,
            string: 0,
            onset: 0,
            chase: Chase::new(rate),
            trend: Trend::default(),
            doubted: None,
        }
    }

    /// Another string was chosen, or none.
    pub(crate) const fn end(&mut self) {
        self.chase.end();
        self.trend.end();
        self.doubted = None;
    }

    /// Whether a string was plucked since it was chosen: its notes are told of here.
    pub(crate) const fn is_plucked(&self) -> bool {
        !self.chase.is_home()
    }

    /// Whether it is chased just now.
    pub(crate) const fn is_chased(&self) -> bool {
        self.chase.at().is_some()
    }

    /// The onset of its last pluck.
    pub(crate) const fn onset(&self) -> u64 {
        self.onset
    }

    /// The chosen string seems to have been plucked, as `note` says; whether it was, and not what it left behind as it was
    /// turned: others that answered it where it was swell, and nothing of that is new.
    pub(crate) fn pluck(&mut self, note: &mut Note) -> bool {
        let Some(verdict) = note.verdict() else {
            return false;
        };
        let apart = self.chase.at().map(|hz| ((verdict.hz / hz).ln() / CENT).abs());
        match apart {
            Some(cents) if cents <= CHASED_ON_CENTS => {
                self.chase.go_on(verdict.hz);
                self.trend = self.trend.loosened(cents);
            }
            Some(_) if note.growth() < self.grows_elsewhere() => return false,
            Some(_) | None => {
                let stiffness = note.stiffness().unwrap_or_else(|| expected_stiffness(verdict.hz));
                let doubted = apart.map(|_| (self.chase.trail(), self.trend));
                self.doubted = self.doubted.or(doubted);
                self.trend.end();
                self.chase.begin(verdict.hz, verdict.hz, stiffness);
            }
        }
        (self.string, self.onset) = (verdict.string, note.onset);
        true
    }

    /// How many times the power elsewhere has to grow for a pluck.
    fn grows_elsewhere(&self) -> f64 {
        if self.chase.missed() == 0 && self.trend.is_within(SURE_CENTS) {
            PLUCKED_FOR_ALL
        } else {
            PLUCKED_ELSEWHERE
        }
    }

    /// Looks at the newest sound; where the string stands just now, told ahead of the sound that shows it, if that stands clear
    /// of noise. Never allocates.
    pub(crate) fn look(&mut self, history: &History) -> Option<Stands> {
        let (middle_s, found) = self.chase.look_newest(history, self.rate, &self.trend)?;
        match self.doubted {
            Some(_) if found.is_some() => self.doubted = None,
            Some((trail, trend)) if self.chase.missed() >= NOT_FOUND => {
                self.chase.return_to(trail);
                (self.trend, self.doubted) = (trend, None);
            }
            Some(_) | None => {}
        }
        let found = found?;
        let now_s = history.count() as f64 / self.rate;
        let believed = self.trend.look(middle_s, found.hz, found.sigma_cents);
        let ahead = self.trend.ahead(now_s).filter(|_| believed && found.clear > CLEAR)?;
        Some(Stands {
            onset: self.onset,
            string: self.string,
            hz: Hz::new(ahead.hz).ok()?,
            sigma: Cents(ahead.sigma_cents),
        })
    }
}
