//! What the forms mean, and the forms of what is meant.

use consort_proto::{
    Cents, Harp, HarpString, Hz, Note, Reading, ReferencePitch, Setting, StringNumber, Temperament, Tolerance, Tuning,
};
use consort_record::{
    Climate, Concert, Date, Deed, Event, Fitting, Heard, Length, Moment, Partial, Pins, Place, Player, Sheet, Spoilt,
    Timbre, entry,
};

use super::{
    ClimateForm, ConcertForm, EventForm, FittingForm, HarpForm, LengthForm, ReadingForm, SpoiltForm, StringForm,
    TimbreForm, TuningForm, exact,
};

/// A value that means nothing: in which field, and why.
pub(crate) type Meaningless = (&'static str, String);

fn bad<T, E: std::fmt::Display>(field: &'static str, result: Result<T, E>) -> Result<T, Meaningless> {
    result.map_err(|why| (field, why.to_string()))
}

fn number(field: &'static str, string: u8) -> Result<StringNumber, Meaningless> {
    bad(field, StringNumber::new(u32::from(string)))
}

pub(crate) fn strings_of(harp: &Harp) -> Vec<StringForm> {
    harp.strings()
        .iter()
        .map(|string| StringForm {
            letter: string.open.letter,
            accidental: string.open.accidental,
            octave: string.open.octave,
            material: string.material,
            mechanism: string.mechanism,
            regulation_cents: string.regulation.map(|error| error.0),
        })
        .collect()
}

impl HarpForm {
    /// The sheet that it describes.
    pub(crate) fn sheet(&self) -> Result<Sheet, Meaningless> {
        let strings = self
            .strings
            .iter()
            .map(|string| HarpString {
                open: Note::new(string.letter, string.accidental, string.octave),
                material: string.material,
                mechanism: string.mechanism,
                regulation: string.regulation_cents.map(Cents),
            })
            .collect();
        let harp = bad("strings", Harp::new(self.name.clone(), self.kind, strings))?;
        let pins = Pins::from_word(&self.pins).ok_or(("pins", format!("“{}” is no kind of pins", self.pins)))?;
        let player =
            Player::from_word(&self.player).ok_or(("player", format!("“{}” is no kind of player", self.player)))?;
        let made = self.made.as_deref().map(|day| bad("made", day.parse())).transpose()?;
        let concert_days = bad("concert_days", entry::concert_days(u32::from(self.concert_days)))?;
        Ok(Sheet {
            harp,
            pins,
            player,
            made,
            concert_days,
            allowed: bad("allowed", self.allowed.parse())?,
        })
    }
}

impl TuningForm {
    pub(crate) fn begun(&self) -> Result<Moment, Meaningless> {
        bad("begun", self.begun.parse())
    }

    pub(crate) fn place(&self) -> Result<Place, Meaningless> {
        bad("place", Place::new(&self.place))
    }

    pub(crate) fn tuning(&self) -> Result<Tuning, Meaningless> {
        Ok(Tuning {
            a4: bad("a4_hz", ReferencePitch::new(self.a4_hz))?,
            temperament: bad("temperament", self.temperament.parse::<Temperament>())?,
            setting: bad("setting", self.setting.parse::<Setting>())?,
        })
    }

    pub(crate) fn tolerance(&self) -> Result<Tolerance, Meaningless> {
        let [middle, wires, top] = self.tolerance_cents;
        if self.tolerance_cents.iter().all(|cents| (0.1..=50.0).contains(cents)) {
            Ok(Tolerance {
                middle: Cents(middle),
                wires: Cents(wires),
                top: Cents(top),
            })
        } else {
            Err((
                "tolerance_cents",
                "a tolerance lies between 0.1 and 50 cents".to_owned(),
            ))
        }
    }
}

/// The word of a temperament, or its twelve offsets.
pub(crate) fn temperament_text(temperament: &Temperament) -> String {
    temperament.scheme().map_or_else(
        || temperament.offsets().map(|offset| offset.0.to_string()).join(" "),
        |scheme| scheme.word().to_owned(),
    )
}

impl ReadingForm {
    pub(crate) fn heard(&self) -> Result<Heard, Meaningless> {
        if self.position > 2 {
            return Err((
                "position",
                consort_record::NotAnEntry::Position(self.position).to_string(),
            ));
        }
        let hz = bad("hz", Hz::new(self.hz))?;
        let reading = bad(
            "hz",
            Reading::new(number("string", self.string)?, hz, Cents(self.sigma_cents)),
        )?;
        Ok(Heard {
            at: Moment(self.at_unix_ms.div_euclid(1_000)),
            position: self.position,
            reading,
            timbre: self.timbre.as_ref().map(TimbreForm::timbre),
        })
    }
}

impl TimbreForm {
    pub(crate) fn of(timbre: &Timbre) -> Self {
        Self {
            partials: timbre
                .partials
                .iter()
                .map(|partial| (partial.number, partial.above.0, partial.sigma.0))
                .collect(),
            beat_hz: timbre.beat_hz,
            decay_s: timbre.decay_s,
            brightness_db: timbre.brightness_db,
            glide_cents: timbre.glide.map(|glide| glide.0),
        }
        .exact()
    }

    /// The same in figures that are read again as they are.
    pub(crate) fn exact(self) -> Self {
        let partials = self.partials.into_iter();
        Self {
            partials: partials
                .map(|(number, above, sigma)| (number, exact(above), exact(sigma)))
                .collect(),
            beat_hz: self.beat_hz.map(exact),
            decay_s: self.decay_s.map(exact),
            brightness_db: self.brightness_db.map(exact),
            glide_cents: self.glide_cents.map(exact),
        }
    }

    pub(crate) fn timbre(&self) -> Timbre {
        let finite = |figure: Option<f64>| figure.filter(|figure| figure.is_finite());
        Timbre {
            partials: self
                .partials
                .iter()
                .filter(|(number, above, sigma)| *number >= 2 && above.is_finite() && *sigma >= 0.0)
                .map(|&(number, above, sigma)| Partial {
                    number,
                    above: Cents(above),
                    sigma: Cents(sigma),
                })
                .collect(),
            beat_hz: finite(self.beat_hz),
            decay_s: finite(self.decay_s),
            brightness_db: finite(self.brightness_db),
            glide: finite(self.glide_cents).map(Cents),
        }
    }
}

impl FittingForm {
    pub(crate) fn of(fitting: &Fitting) -> Self {
        Self {
            string: fitting.string.get(),
            on: fitting.on.to_string(),
            material: fitting.material,
            gauge_mm: fitting.gauge_mm,
            length: fitting.length.clone(),
            removed: false,
        }
    }

    pub(crate) fn fitting(&self) -> Result<Fitting, Meaningless> {
        let fitting = Fitting {
            string: number("string", self.string)?,
            on: bad("on", self.on.parse::<Date>())?,
            material: self.material,
            gauge_mm: self.gauge_mm,
            length: self.length.clone(),
        };
        bad("gauge_mm", fitting.checked())
    }
}

impl EventForm {
    pub(crate) fn of(event: &Event) -> Self {
        Self {
            on: event.on.to_string(),
            deed: event.deed.word().to_owned(),
            string: event.deed.string().map(StringNumber::get),
            note: event.note.clone(),
            removed: false,
        }
    }

    pub(crate) fn event(&self) -> Result<Event, Meaningless> {
        let string = self.string.map(|string| number("string", string)).transpose()?;
        let deed = Deed::from_word(&self.deed, string).ok_or_else(|| {
            ("deed", format!("“{}” is nothing that can be done to this: restrung, moved and regulated name no string, pin-pushed and broke name one", self.deed))
        })?;
        Ok(Event {
            on: bad("on", self.on.parse())?,
            deed,
            note: bad("note", consort_record::entry::text(&self.note))?,
        })
    }
}

impl ConcertForm {
    pub(crate) fn of(concert: &Concert) -> Self {
        Self {
            on: concert.on.to_string(),
            name: concert.name.clone(),
            removed: false,
        }
    }

    pub(crate) fn concert(&self) -> Result<Concert, Meaningless> {
        Ok(Concert {
            on: bad("on", self.on.parse())?,
            name: bad("name", consort_record::entry::text(&self.name))?,
        })
    }
}

impl ClimateForm {
    pub(crate) fn of(climate: &Climate) -> Self {
        Self {
            at: climate.at.to_string(),
            temperature_c: climate.temperature_c,
            humidity_percent: climate.humidity_percent,
        }
    }

    pub(crate) fn climate(&self) -> Result<Climate, Meaningless> {
        let at = bad("at", self.at.parse())?;
        let field = match (self.temperature_c, self.humidity_percent) {
            (Some(warm), _) if Climate::new(at, Some(warm), None).is_err() => "temperature_c",
            _ => "humidity_percent",
        };
        bad(field, Climate::new(at, self.temperature_c, self.humidity_percent))
    }
}

impl LengthForm {
    pub(crate) fn of(length: &Length) -> Self {
        Self {
            name: length.name.clone(),
            bought: length.bought.to_string(),
            string: length.string.get(),
            material: length.material,
            gauge_mm: length.gauge_mm,
            yields: length.yields,
            removed: false,
        }
    }

    pub(crate) fn length(&self) -> Result<Length, Meaningless> {
        let length = Length {
            name: self.name.clone(),
            bought: bad("bought", self.bought.parse())?,
            string: number("string", self.string)?,
            material: self.material,
            gauge_mm: self.gauge_mm,
            yields: self.yields,
        };
        bad("yields", length.checked())
    }
}

impl SpoiltForm {
    pub(crate) fn of(spoilt: &Spoilt) -> Self {
        Self {
            length: spoilt.length.clone(),
            on: spoilt.on.to_string(),
            note: spoilt.note.clone(),
            removed: false,
        }
    }

    pub(crate) fn spoilt(&self) -> Result<Spoilt, Meaningless> {
        Ok(Spoilt {
            length: bad("length", consort_record::entry::text(&self.length))?,
            on: bad("on", self.on.parse())?,
            note: bad("note", consort_record::entry::text(&self.note))?,
        })
    }
}
