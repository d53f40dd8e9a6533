//! The second generator: nothing follows physics but a string's partials; all else is drawn from heavy-tailed laws.

mod dice;
mod piece;

use std::collections::BTreeMap;

use consort_proto::{Cents, Harp, Hz, Material, Mechanism, Reading, StringNumber, Tolerance, Tuning};
use consort_record::{Climate, Date, Fitting, Heard, Life, Moment, Place, Sheet, Visit};

use crate::plot::{Plot, Storyteller, Trouble, Truth};
use dice::Dice;
use piece::Piece;

/// Tells lives by drawing; see [`Plot`].
#[derive(Clone, Debug)]
pub struct Drawn {
    life: Life,
    plot: Plot,
    dice: Dice,
    spell: Spell,
    /// How far the room has moved each material in all, cents.
    room: BTreeMap<Material, f64>,
    /// What the harp was moved by because it stands in a hall, taken back at home.
    hall: BTreeMap<Material, f64>,
    pieces: Vec<Piece>,
    letters: [[f64; 2]; 7],
    day: i32,
    count: usize,
    seen: usize,
    /// The day on which the new string begins to hold, once it has begun.
    held_on: Option<Date>,
}

/// A spell of weather: it lasts for days and then turns at once.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Spell {
    Dry,
    Mild,
    Damp,
    Heated,
}

impl Spell {
    const ALL: [Self; 4] = [Self::Dry, Self::Mild, Self::Damp, Self::Heated];

    /// Where nylon, gut and wire stand in it, cents: invented, with either sign.
    const fn moves(self) -> [(Material, f64); 4] {
        let (nylon, gut, wire) = match self {
            Self::Dry => (0.5, 4.0, 0.5),
            Self::Mild => (0.0, 0.0, 0.0),
            Self::Damp => (-0.8, -5.0, 0.8),
            Self::Heated => (-2.0, 3.0, -4.0),
        };
        [
            (Material::Nylon, nylon),
            (Material::Gut, gut),
            (Material::Wire, wire),
            (Material::Fluorocarbon, nylon),
        ]
    }

    const fn air(self) -> (f64, f64) {
        match self {
            Self::Dry => (20.0, 34.0),
            Self::Mild => (20.0, 47.0),
            Self::Damp => (19.5, 63.0),
            Self::Heated => (22.5, 38.0),
        }
    }
}

/// How likely a spell turns in a day.
const TURNS_A_DAY: f64 = 0.15;
/// How likely a pluck is misheard, and by how much at most, cents.
const MISHEARD: f64 = 0.003;
const MISHEARD_CENTS: f64 = 7.0;
/// How likely a string is left out of a tuning.
const LEFT_OUT: f64 = 0.02;
/// What the station states, cents; what plucks really differ by is drawn wider.
const STATED_CENTS: f64 = 0.15;

impl Drawn {
    /// The life of `plot`, before its first tuning.
    pub fn new(plot: Plot) -> Self {
        let mut dice = Dice::new(plot.seed);
        let tuning = Tuning::default();
        let pieces = plot
            .harp
            .strings()
            .iter()
            .map(|string| Piece::seasoned(tuning.open_target(string).get(), string.material, &mut dice))
            .collect();
        Self {
            life: Life::new(Sheet::of(plot.harp.clone())),
            letters: std::array::from_fn(|_| std::array::from_fn(|_| dice.even(-1.0, 1.0))),
            pieces,
            spell: Spell::Mild,
            room: BTreeMap::new(),
            hall: BTreeMap::new(),
            day: 19_000 + dice.even(0.0, 300.0) as i32,
            count: 0,
            seen: 0,
            held_on: None,
            dice,
            plot,
        }
    }

    fn harp(&self) -> &Harp {
        &self.plot.harp
    }

    /// One day of weather.
    fn dawn(&mut self) {
        let before = self.spell;
        if self.dice.happens(TURNS_A_DAY) {
            self.spell = Spell::ALL[self.dice.below(4)];
        }
        for ((material, now), (_, then)) in self.spell.moves().into_iter().zip(before.moves()) {
            let wobble = self.dice.tailed(0.35);
            *self.room.entry(material).or_default() += now - then + wobble;
        }
        // What wobbles does not wander off: a tenth of the way home each day.
        for (material, home) in self.spell.moves() {
            if let Some(stands) = self.room.get_mut(&material) {
                *stands -= 0.1 * (*stands - home - self.hall.get(&material).copied().unwrap_or(0.0));
            }
        }
    }

    fn strike(&mut self, trouble: Trouble, days: f64) {
        match trouble {
            Trouble::SlippingPin { string, cents_a_day } => {
                let piece = &mut self.pieces[string.index()];
                piece.slips_a_day = cents_a_day;
                piece.slip(days, &mut self.dice);
            }
            Trouble::FalseString { string, lost_mass } => {
                self.pieces[string.index()].thin_out(lost_mass, &mut self.dice)
            }
            Trouble::Turned { string, cents } => self.pieces[string.index()].stands += cents,
            Trouble::NewString { string } => self.put_on(string, 1.0, days),
            Trouble::WrongGauge { string, ratio } => self.put_on(string, ratio, days),
            Trouble::Pedal {
                letter,
                position,
                cents,
            } => self.letters[letter.index()][usize::from(position) - 1] += cents,
            Trouble::Disc {
                string,
                position,
                cents,
            } => self.pieces[string.index()].steps[usize::from(position) - 1] += cents,
            Trouble::Room {
                humidity_percent,
                temperature_c,
            } => {
                for (material, per_percent, per_kelvin) in [
                    (Material::Gut, -0.4, -0.4),
                    (Material::Nylon, -0.05, -1.0),
                    (Material::Wire, 0.0, -2.5),
                ] {
                    let by = per_percent * humidity_percent + per_kelvin * temperature_c;
                    *self.room.entry(material).or_default() += by;
                    *self.hall.entry(material).or_default() += by;
                }
            }
        }
    }

    fn put_on(&mut self, string: StringNumber, ratio: f64, days: f64) {
        let ago = self.dice.even(0.1, days.min(1.2)).max(0.1);
        let kind = self.harp().strings()[string.index()];
        let target = Tuning::default().open_target(&kind).get();
        self.pieces[string.index()] = Piece::fresh(target, kind.material, ratio, ago, &mut self.dice);
        self.life.fittings.push(Fitting {
            string,
            on: Date::from_days(self.day - i32::from(ago > 0.5)),
            material: kind.material,
            gauge_mm: None,
            length: None,
        });
    }

    fn pluck(&mut self, visit: &mut Visit, string: StringNumber, position: u8) -> f64 {
        let kind = self.plot.harp.strings()[string.index()];
        let room = self.room.get(&kind.material).copied().unwrap_or(0.0);
        let piece = &self.pieces[string.index()];
        let mut cents = piece.stands + room * piece.share + self.dice.tailed(0.2 + piece.unsteady);
        if position == 0 && self.dice.happens(MISHEARD) {
            cents += self.dice.even(-MISHEARD_CENTS, MISHEARD_CENTS);
        }
        if position > 0 {
            let step = usize::from(position) - 1;
            cents += 100.0 * f64::from(position) + piece.steps[step] + self.letters[kind.open.letter.index()][step];
        }
        let timbre = (position == 0).then(|| piece.sound(&mut self.dice));
        if let Ok(reading) = Hz::new(piece.target_hz * (cents / 1_200.0).exp2())
            .map_err(|_| ())
            .and_then(|hz| Reading::new(string, hz, Cents(STATED_CENTS)).map_err(|_| ()))
        {
            let at = visit.at;
            visit.hear(&Heard {
                at,
                position,
                reading,
                timbre,
            });
        }
        cents
    }

    fn set(&mut self, visit: &mut Visit, string: StringNumber) {
        if self.dice.happens(LEFT_OUT) {
            return;
        }
        let kind = self.plot.harp.strings()[string.index()];
        let near = Tolerance::default().of(&kind).0;
        for _ in 0..4 {
            let heard = self.pluck(visit, string, 0);
            if heard.abs() <= near {
                break;
            }
            // She turns what she hears, a fifth too little or too much, and lands a touch sharp.
            let by = -heard * self.dice.even(0.85, 1.1) + self.dice.even(-0.2, 0.6);
            self.pieces[string.index()].turn(by);
        }
        self.pluck(visit, string, 0);
    }
}

impl Storyteller for Drawn {
    fn life(&self) -> &Life {
        &self.life
    }

    fn next(&mut self) -> Truth {
        let before = self.room.clone();
        let mut days = 0;
        loop {
            days += 1;
            self.day += 1;
            self.dawn();
            if self.dice.happens(self.plot.tuned_a_day) {
                break;
            }
        }
        let in_hall = self.dice.happens(self.plot.hall_a_day);
        let hour = self.dice.even(-0.1, 0.35);
        let waited = f64::from(days);
        for piece in &mut self.pieces {
            piece.wait(waited, &mut self.dice);
        }
        match self.plot.trouble {
            Some((trouble, from)) if from == self.count => {
                self.strike(trouble, waited);
                self.seen = 1;
            }
            Some((_, from)) if from < self.count => self.seen += 1,
            _ => {}
        }
        if in_hall {
            for material in [Material::Nylon, Material::Gut, Material::Wire] {
                let by = self.dice.tailed(2.0);
                *self.room.entry(material).or_default() += by;
            }
        }
        let at = Moment(Date::from_days(self.day).noon().0 + (hour * 86_400.0) as i64);
        let place = Place::new(if in_hall { "hall" } else { "home" }).unwrap_or_default();
        let (warm, damp) = self.spell.air();
        let climate = Climate::new(
            at,
            Some(warm + self.dice.even(-0.5, 0.5)),
            Some(damp + self.dice.even(-3.0, 3.0)),
        );
        self.life.climates.extend(climate.ok());
        let mut visit = Visit::new(at, place, Tuning::default(), Tolerance::default());
        let numbers: Vec<StringNumber> = self.harp().numbered().map(|(number, _)| number).rev().collect();
        for &string in &numbers {
            self.set(&mut visit, string);
        }
        let of_positions = matches!(
            self.plot.trouble,
            Some((
                Trouble::Pedal { .. } | Trouble::Disc { .. } | Trouble::WrongGauge { .. },
                _
            ))
        );
        if self.count % 25 == 3 || (of_positions && self.seen % 2 == 1) {
            for &string in &numbers {
                let mechanism = self.harp().strings()[string.index()].mechanism;
                let positions = match mechanism {
                    Mechanism::Fixed => 0,
                    Mechanism::Lever => 1,
                    Mechanism::Discs => 2,
                };
                for position in 1..=positions {
                    self.pluck(&mut visit, string, position);
                }
            }
        }
        self.life.visits.push(visit);
        self.count += 1;
        let moved = |material: &Material| {
            self.room.get(material).copied().unwrap_or(0.0) - before.get(material).copied().unwrap_or(0.0)
        };
        let string = self.plot.trouble.and_then(|(trouble, _)| trouble.string());
        let settles = string.and_then(|string| {
            let near = Tolerance::default().of(&self.harp().strings()[string.index()]).0;
            self.pieces[string.index()].settles_in_days(near)
        });
        let holds_on = settles.map(|days| Date::from_days(self.day).plus(days.round() as i32));
        if settles == Some(0.0) && self.held_on.is_none() {
            self.held_on = holds_on;
        }
        Truth {
            room: self.room.keys().map(|material| (*material, moved(material))).collect(),
            seen: self.seen,
            holds_on: self.held_on.or(holds_on),
        }
    }
}
