//! One string of a virtual harp: where it stands, what sounds of it.

use std::sync::Arc;

use consort_proto::{HarpString, Tuning};

use crate::bank::{Bank, Lanes, Line};
use crate::chance::Chance;
use crate::fault::{Fault, Restlessness};
use crate::pluck::{self, Pluck};
use crate::recording::{Playback, Recording};
use crate::stringing::Stringing;

/// A string under tension.
#[derive(Clone, Debug)]
pub(crate) struct Strung {
    pub(crate) stringing: Stringing,
    pub(crate) fault: Option<Fault>,
    /// The note of the open string at A4 = 440 Hz.
    note_hz: f64,
    /// How far the open string's true pitch lies above its note, cents.
    pub(crate) open_cents: f64,
    /// How many semitones its mechanism adds: 0, 1 or 2.
    pub(crate) position: u8,
    /// How far position 1 and 2 really lie above 100 and 200 cents.
    regulation: [f64; 2],
    /// What has been turned while a disc or lever gripped the string, and comes out when it lets go, cents.
    gripped: f64,
    pub(crate) restless: Restlessness,
    /// How far an ordinary pluck's true pitch lies above the string's rest, cents.
    ordinary_cents: f64,
    recording: Option<Arc<Recording>>,
    pub(crate) bank: Bank,
    playback: Option<Playback>,
    /// What is left of the glide, cents.
    glide: f64,
    damped: bool,
}

/// How fast a finger or a hand stops a string, seconds to 1/e: assumed.
const HAND_DECAY_S: f64 = 0.02;
/// Share of a turn that reaches the speaking length while a disc or a lever grips it; the rest comes out when it lets go.
///
/// That the pitch jumps sharp on release is common experience (Volpe Bligh, "Tuning the harp"); the share is assumed.
const GRIPPED_SHARE: f64 = 0.7;
/// Regulation errors of an older harp were 0 to +10 cents (Swanson, Harp Column forum, 2021); one standard deviation.
const REGULATION_CENTS: f64 = 2.0;

impl Strung {
    pub(crate) fn new(
        string: &HarpString,
        fault: Option<Fault>,
        recording: Option<Arc<Recording>>,
        chance: &mut Chance,
    ) -> Self {
        let mut stringing = Stringing::of(string, chance);
        if fault == Some(Fault::False) {
            stringing.make_false(0.02, chance.between(0.5, 1.2));
        }
        if fault == Some(Fault::Dull) {
            stringing.make_dull();
        }
        let regulation = [1, 2].map(|position| {
            let known = string.regulation_error(position).0;
            if known == 0.0 {
                (REGULATION_CENTS * chance.spread()).abs()
            } else {
                known
            }
        });
        let truth = pluck::true_hz(&stringing, Pluck::ORDINARY);
        Self {
            note_hz: Tuning::default().frequency(string.open).get(),
            ordinary_cents: 1200.0 * (truth / stringing.pitch_hz()).log2(),
            open_cents: 0.0,
            position: u8::from(fault == Some(Fault::LeverUp)),
            regulation,
            gripped: 0.0,
            restless: Restlessness::new(fault, chance.apart()),
            recording,
            bank: Bank::default(),
            playback: None,
            glide: 0.0,
            damped: false,
            stringing,
            fault,
        }
    }

    /// How far it now sounds above the open string's note at A4 = 440 Hz by an ordinary pluck, cents.
    pub(crate) fn cents(&self) -> f64 {
        let raised = match self.position {
            0 => 0.0,
            position => 100.0 * f64::from(position) + self.regulation[usize::from(position.min(2)) - 1],
        };
        self.open_cents + raised
    }

    /// The true pitch of an ordinary pluck, hertz.
    pub(crate) fn hz(&self) -> f64 {
        self.note_hz * (self.cents() / 1200.0).exp2()
    }

    /// The true pitch of `pluck`, hertz.
    pub(crate) fn true_hz(&self, pluck: Pluck) -> f64 {
        if self.recording.is_some() {
            return self.hz();
        }
        pluck::true_hz(&self.stringing, pluck) * self.rest_bend()
    }

    /// The true frequency of partial `n` of `pluck` between two moments after it, seconds, hertz.
    pub(crate) fn true_partial_hz(&self, pluck: Pluck, n: usize, between_s: (f64, f64)) -> f64 {
        pluck::mean_hz(&self.stringing, pluck, n, between_s) * self.rest_bend()
    }

    /// Turns the pin so that the open string would move by `cents`; how far the pitch itself moves.
    pub(crate) fn turn(&mut self, cents: f64, now_s: f64) {
        let reaches = if self.position == 0 { 1.0 } else { GRIPPED_SHARE };
        self.gripped += cents * (1.0 - reaches);
        self.open_cents += cents * reaches;
        self.restless.turned(cents, now_s);
    }

    /// Works the mechanism.
    pub(crate) fn set_position(&mut self, position: u8) {
        self.position = position;
        if position == 0 {
            self.open_cents += std::mem::take(&mut self.gripped);
        }
    }

    /// The pitch of the string at rest against its note.
    fn rest_bend(&self) -> f64 {
        ((self.cents() - self.ordinary_cents) / 1200.0).exp2() * self.note_hz / self.stringing.pitch_hz()
    }

    /// The pitch at which the string sounds just now, against its stringing.
    pub(crate) fn bend(&self) -> f64 {
        self.rest_bend() * (self.glide / 1200.0).exp2()
    }

    pub(crate) const fn is_damped(&self) -> bool {
        self.damped
    }

    pub(crate) const fn is_recorded(&self) -> bool {
        self.recording.is_some()
    }

    /// A hand lies on it.
    pub(crate) fn damp(&mut self, rate: f64) {
        self.damped = true;
        self.bank.damp(HAND_DECAY_S, rate);
        if let Some(playback) = &mut self.playback {
            playback.damp(HAND_DECAY_S, rate);
        }
    }

    /// Begins to sound; what sounded before is silent, since the finger has stopped it.
    pub(crate) fn pluck(&mut self, pluck: Pluck, lines: &[Line], rate: f64) {
        self.bank = Bank::default();
        self.damped = false;
        if let Some(recording) = &self.recording {
            self.playback = Some(Playback::new(Arc::clone(recording), pluck.loudness));
            return;
        }
        self.glide = self
            .stringing
            .glide_cents(self.stringing.draw_mm() * pluck.loudness, pluck.place);
        lines.iter().for_each(|line| self.bank.add(*line, rate));
    }

    /// Begins to answer another string.
    pub(crate) fn answer(&mut self, line: Line, rate: f64) {
        self.bank.release();
        self.bank.add(line, rate);
    }

    /// Adds one tick to `lanes` and `out`.
    pub(crate) fn render(&mut self, lanes: &mut Lanes, out: &mut [f32], rate: f64) {
        if !self.bank.is_silent() {
            let bend = self.bend();
            self.bank.render(lanes, out.len(), bend);
            let tick_s = out.len() as f64 / rate;
            self.glide = pluck::glide_at(self.glide, self.stringing.decay_s(1), tick_s);
        }
        let hz = self.hz();
        if let Some(playback) = &mut self.playback
            && !playback.render(out, hz, rate)
        {
            self.playback = None;
        }
    }
}
