//! The first generator: a harp of wood, gut and steel in a room with smooth weather, tuned by a careful hand.

mod strings;
mod weather;

use consort_harp::chance::Chance;
use consort_proto::{Cents, Hz, Kind, Material, Reading, StringNumber, Tolerance, Tuning};
use consort_record::{Climate, Date, Fitting, Heard, Life, Moment, Place, Sheet, Timbre, Visit};

use crate::plot::{Plot, Storyteller, Trouble, Truth};
use strings::{Creep, WoodenString};
use weather::{Air, Weather};

/// Tells lives by physics; see [`Plot`].
#[derive(Clone, Debug)]
pub struct Wooden {
    life: Life,
    plot: Plot,
    chance: Chance,
    weather: Weather,
    strings: Vec<WoodenString>,
    tolerance: Tolerance,
    tuning: Tuning,
    /// Errors of each letter's pedal in natural and sharp, cents.
    pedals: [[f64; 2]; 7],
    now: Moment,
    visits: usize,
    seen: usize,
    /// The air in which each material was last left, and how the room has moved it since.
    air: Air,
}

/// Every life begins on this day.
const BEGINS: Date = Date::from_days(19_600);
/// Uncertainty that the station states of a reading, cents, and how a pluck differs from the next one of the same
/// string beyond it: what the listener shows on recordings.
const SIGMA_CENTS: f64 = 0.2;
const PLUCK_CENTS: f64 = 0.25;
/// How precisely a hand sets a string, as a share of its tolerance: assumed.
const HAND_OF_TOLERANCE: f64 = 0.4;
/// A string that was raised relaxes by this share of the raise within the hour: assumed.
const RELAXES: f64 = 0.03;
/// Discs and levers are checked at every so many tunings: assumed.
const CHECKED_EVERY: usize = 20;
/// Errors of pedals and of single discs on a harp in order, cents, one standard deviation; an older harp that was measured
/// disc by disc showed 0 to 5 and one 10.
const PEDAL_CENTS: f64 = 0.8;

impl Wooden {
    /// The life of `plot`, before its first tuning.
    pub fn new(plot: Plot) -> Self {
        let mut chance = Chance::new(plot.seed);
        let tuning = Tuning::default();
        let tolerance = Tolerance::default();
        let strings = plot
            .harp
            .strings()
            .iter()
            .map(|string| WoodenString::new(string, &tuning, tolerance.of(string).0, &mut chance))
            .collect();
        let pedals = std::array::from_fn(|_| std::array::from_fn(|_| PEDAL_CENTS * chance.spread()));
        let begin = Moment(BEGINS.noon().0 + (chance.between(0.0, 365.0) as i64) * 86_400);
        let mut weather = Weather::new(begin, chance.apart());
        let air = weather.home(begin);
        Self {
            life: Life::new(Sheet::of(plot.harp.clone())),
            plot,
            chance,
            weather,
            strings,
            tolerance,
            tuning,
            pedals,
            now: begin,
            visits: 0,
            seen: 0,
            air,
        }
    }

    /// The next day on which the harp is tuned, at some hour.
    fn wait(&mut self) -> f64 {
        let before = self.now;
        let mut day = before.date();
        loop {
            day = day.plus(1);
            if self.chance.is(self.plot.tuned_a_day) {
                break;
            }
        }
        self.now = Moment(day.noon().0 + (self.chance.between(-2.0, 8.0) * 3_600.0) as i64);
        self.now.days_since(before)
    }

    /// What begins to be wrong before this tuning.
    fn strike(&mut self, trouble: Trouble, days: f64) {
        match trouble {
            Trouble::SlippingPin { string, cents_a_day } => self.strings[string.index()].slip(cents_a_day),
            Trouble::FalseString { string, lost_mass } => {
                self.strings[string.index()].spoil(lost_mass, &mut self.chance);
            }
            Trouble::NewString { string } => self.renew(string, 1.0, days),
            Trouble::Turned { string, cents } => self.strings[string.index()].pitch += cents,
            Trouble::WrongGauge { string, ratio } => self.renew(string, ratio, days),
            Trouble::Pedal {
                letter,
                position,
                cents,
            } => {
                self.pedals[letter.index()][usize::from(position) - 1] += cents;
            }
            Trouble::Disc {
                string,
                position,
                cents,
            } => {
                self.strings[string.index()].discs[usize::from(position) - 1] += cents;
            }
            Trouble::Room {
                humidity_percent,
                temperature_c,
            } => self.weather.turn(humidity_percent, temperature_c),
        }
    }

    /// A string is put on some hours after the last tuning, brought up, and written down.
    fn renew(&mut self, string: StringNumber, ratio: f64, days: f64) {
        let ago = self.chance.between(0.2, days.min(1.5)).max(0.1);
        let on = Moment(self.now.0 - (ago * 86_400.0) as i64);
        let kind = self.plot.harp.strings()[string.index()];
        self.strings[string.index()].renew(&kind, ratio, ago, &mut self.chance);
        self.life.fittings.push(Fitting {
            string,
            on: on.date(),
            material: kind.material,
            gauge_mm: None,
            length: None,
        });
    }

    fn hear(&mut self, visit: &mut Visit, number: StringNumber, with_timbre: bool, position: u8) -> f64 {
        let string = &self.strings[number.index()];
        let response = string.response(&self.air);
        let scatter = PLUCK_CENTS.hypot(string.scatter);
        let mut cents = string.pitch + response + scatter * self.chance.spread();
        if position > 0 {
            let step = usize::from(position) - 1;
            let letter = self.plot.harp.strings()[number.index()].open.letter;
            cents += 100.0 * f64::from(position) + string.discs[step] + self.pedals[letter.index()][step];
        }
        let timbre: Option<Timbre> = with_timbre.then(|| string.timbre(&mut self.chance));
        let hz = Hz::new(string.target_hz * (cents / 1_200.0).exp2());
        let Some(reading) = hz.ok().and_then(|hz| Reading::new(number, hz, Cents(SIGMA_CENTS)).ok()) else {
            return cents;
        };
        let at = visit.at;
        visit.hear(&Heard {
            at,
            position,
            reading,
            timbre,
        });
        cents
    }

    fn tune(&mut self, number: StringNumber, visit: &mut Visit) {
        let tolerance = self.strings[number.index()].tolerance;
        let found = self.hear(visit, number, true, 0);
        if found.abs() > 0.7 * tolerance {
            let wanted = HAND_OF_TOLERANCE * tolerance * self.chance.spread();
            let by = wanted - found;
            let string = &mut self.strings[number.index()];
            string.set(by);
            if by > 0.0 {
                string.pending_fall += RELAXES * by;
            }
        }
        self.hear(visit, number, true, 0);
    }

    fn checks_positions(&self) -> bool {
        let about_positions = matches!(
            self.plot.trouble,
            Some((
                Trouble::Pedal { .. } | Trouble::Disc { .. } | Trouble::WrongGauge { .. },
                _
            ))
        );
        self.visits.is_multiple_of(CHECKED_EVERY) || (about_positions && self.seen > 0 && self.seen.is_multiple_of(2))
    }
}

impl Storyteller for Wooden {
    fn life(&self) -> &Life {
        &self.life
    }

    fn next(&mut self) -> Truth {
        let before = self.air;
        let days = self.wait();
        let trouble = self.plot.trouble;
        for string in &mut self.strings {
            string.rest(days, &mut self.chance);
        }
        let at_home = !self.chance.is(self.plot.hall_a_day);
        match trouble {
            Some((trouble, from)) if from == self.visits => {
                self.strike(trouble, days);
                if let Trouble::SlippingPin { string, .. } = trouble {
                    self.strings[string.index()].slips(days, &mut self.chance);
                }
                self.seen = 1;
            }
            Some((_, from)) if from < self.visits => self.seen += 1,
            _ => {}
        }
        self.air = if at_home {
            self.weather.home(self.now)
        } else {
            self.weather.hall(self.now)
        };
        let name = if at_home { "home" } else { "hall" };
        let place = Place::new(name).unwrap_or_default();
        if let Ok(climate) = Climate::new(self.now, Some(self.air.temperature_c), Some(self.air.humidity_percent)) {
            self.life.climates.push(climate);
        }
        let mut visit = Visit::new(self.now, place, self.tuning, self.tolerance);
        let numbers: Vec<StringNumber> = self.plot.harp.numbered().map(|(number, _)| number).collect();
        for &number in &numbers {
            self.tune(number, &mut visit);
        }
        if self.checks_positions() {
            let positions = if self.plot.harp.kind() == Kind::Lever { 1 } else { 2 };
            for &number in &numbers {
                let mechanism = self.plot.harp.strings()[number.index()].mechanism;
                for position in 1..=positions.min(mechanism.positions()) {
                    self.hear(&mut visit, number, false, position);
                }
            }
        }
        self.life.visits.push(visit);
        self.visits += 1;
        let materials = [Material::Nylon, Material::Gut, Material::Wire, Material::Fluorocarbon];
        let room = materials
            .into_iter()
            .map(|material| {
                (
                    material,
                    strings::nominal_response(material, &self.air) - strings::nominal_response(material, &before),
                )
            })
            .collect();
        Truth {
            room,
            seen: self.seen,
            holds_on: trouble
                .and_then(|(trouble, _)| trouble.string())
                .and_then(|string| self.strings[string.index()].holds_on(self.now)),
        }
    }
}

impl WoodenString {
    /// The day from which on it falls less than its tolerance in a day.
    fn holds_on(&self, now: Moment) -> Option<Date> {
        match self.creep {
            Some(Creep { age_days, .. }) => {
                let fitted = Moment(now.0 - (age_days * 86_400.0) as i64);
                self.holds_after_days()
                    .map(|days| Moment(fitted.0 + (days * 86_400.0) as i64).date())
            }
            None => None,
        }
    }
}
