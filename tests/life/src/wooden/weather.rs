//! The air around the harp: seasons, days that remember the day before, and a hall that has its own.

use std::f64::consts::TAU;

use consort_harp::chance::Chance;
use consort_record::Moment;

/// The air at one moment, and what of it the strings have taken up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Air {
    /// Degrees Celsius.
    pub(crate) temperature_c: f64,
    /// Relative humidity, percent.
    pub(crate) humidity_percent: f64,
    /// Humidity that gut has taken up: it follows the air in about half a day.
    pub(crate) soaked_percent: f64,
}

/// Weather, replayable.
#[derive(Clone, Debug)]
pub(crate) struct Weather {
    chance: Chance,
    at: Moment,
    /// Distance from the season's mean: kelvin and percent.
    warm: f64,
    damp: f64,
    soaked: f64,
    /// How far the home's air was turned for good.
    turned: (f64, f64),
}

/// A heated home through the year: mean and swing of temperature and humidity. Assumed from what is recommended for
/// harps (40 to 60 %) and what heating does to it.
const HOME: ((f64, f64), (f64, f64)) = ((20.5, 1.5), (48.0, 9.0));
/// How far days stray from it: one standard deviation in kelvin and percent, and how long they remember, days. Assumed.
const DAYS: ((f64, f64), (f64, f64)) = ((1.2, 1.5), (5.0, 2.5));
/// A hall: mean and spread from one visit to the next. Assumed.
const HALL: ((f64, f64), (f64, f64)) = ((22.5, 1.5), (42.0, 5.0));
/// Gut follows the air's humidity in this time, days: assumed.
const SOAKS_DAYS: f64 = 0.5;

impl Weather {
    pub(crate) fn new(at: Moment, mut chance: Chance) -> Self {
        let (warm, damp) = (DAYS.0.0 * chance.spread(), DAYS.1.0 * chance.spread());
        let mut weather = Self {
            chance,
            at,
            warm,
            damp,
            soaked: 0.0,
            turned: (0.0, 0.0),
        };
        weather.soaked = weather.mean(at).1 + damp;
        weather
    }

    /// The home's air changes for good.
    pub(crate) fn turn(&mut self, humidity_percent: f64, temperature_c: f64) {
        self.turned.0 += temperature_c;
        self.turned.1 += humidity_percent;
    }

    /// The air at home.
    pub(crate) fn home(&mut self, now: Moment) -> Air {
        self.pass(now);
        let (warm, damp) = self.mean(now);
        self.air(warm + self.warm, damp + self.damp, SOAKS_DAYS * 2.0)
    }

    /// The air in a hall, where the harp came some hours ago.
    pub(crate) fn hall(&mut self, now: Moment) -> Air {
        self.pass(now);
        let warm = HALL.0.0 + HALL.0.1 * self.chance.spread();
        let damp = HALL.1.0 + HALL.1.1 * self.chance.spread();
        self.air(warm, damp, 0.15)
    }

    fn air(&mut self, temperature_c: f64, damp: f64, days: f64) -> Air {
        let humidity_percent = damp.clamp(15.0, 90.0);
        let share = 1.0 - (-days / SOAKS_DAYS).exp();
        self.soaked += share * (humidity_percent - self.soaked);
        Air {
            temperature_c,
            humidity_percent,
            soaked_percent: self.soaked,
        }
    }

    fn mean(&self, now: Moment) -> (f64, f64) {
        // Warmest and dampest in July.
        let season = (TAU * (now.days_since(Moment(0)) - 200.0) / 365.25).cos();
        (
            HOME.0.0 + HOME.0.1 * season + self.turned.0,
            HOME.1.0 + HOME.1.1 * season + self.turned.1,
        )
    }

    fn pass(&mut self, now: Moment) {
        let days = now.days_since(self.at).max(0.0);
        self.at = now;
        for (stray, (spread, memory)) in [(&mut self.warm, DAYS.0), (&mut self.damp, DAYS.1)] {
            let kept = (-days / memory).exp();
            *stray = kept * *stray + spread * (1.0 - kept * kept).sqrt() * self.chance.spread();
        }
    }
}
