//! One life being told, and what the record says of it at every tuning.

use consort_life::{Drawn, Plot, Storyteller, Trouble, Truth, Wooden};
use consort_proto::{Letter, Mechanism, StringNumber, harp_file};
use consort_record::{About, Cause, Chronicle, Date, Finding, look};

/// Which generator tells.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Generator {
    Wooden,
    Drawn,
}

impl Generator {
    pub(crate) const ALL: [Self; 2] = [Self::Wooden, Self::Drawn];
}

/// What goes wrong.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub(crate) enum Kind {
    Healthy,
    Slips,
    Strong,
    Moderate,
    New,
    Turned,
    Gauge,
    Pedal,
    Disc,
    Room,
}

impl Kind {
    pub(crate) const CAUSES: [Self; 9] = [
        Self::Slips,
        Self::Strong,
        Self::Moderate,
        Self::New,
        Self::Turned,
        Self::Gauge,
        Self::Pedal,
        Self::Disc,
        Self::Room,
    ];

    /// The word of the finding that names it.
    const fn word(self) -> &'static str {
        match self {
            Self::Healthy => "",
            Self::Slips => "slipping-pin",
            Self::Strong | Self::Moderate => "false-string",
            Self::New => "new-string",
            Self::Turned => "turned",
            Self::Gauge => "wrong-gauge",
            Self::Pedal => "pedal",
            Self::Disc => "step",
            Self::Room => "room",
        }
    }
}

/// Which life of which kind.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Casting {
    pub(crate) kind: Kind,
    pub(crate) number: usize,
}

/// A life being told.
pub(crate) struct Tale {
    teller: Box<dyn Storyteller>,
    chronicle: Chronicle,
    casting: Casting,
    trouble: Option<Trouble>,
    truth: Truth,
}

/// Chosen numbers, spread evenly: the golden ratio's multiples never cluster.
fn chosen(number: usize, which: usize) -> f64 {
    ((number * 7 + which + 1) as f64 * 0.618_033_988_749_895 + which as f64 * 0.414_213_562).fract()
}

/// The number of the first life: others than those that the method was tuned on are told from another number.
pub(crate) static BEGINS_AT: std::sync::OnceLock<usize> = std::sync::OnceLock::new();

impl Tale {
    pub(crate) fn begin(generator: Generator, casting: Casting) -> Self {
        let Casting { kind, number } = casting;
        let number = number + BEGINS_AT.get().copied().unwrap_or(0);
        let pick = |which| chosen(number, which);
        let between = |which, least: f64, most: f64| least + (most - least) * pick(which);
        let lever = pick(0) < 0.2 && kind != Kind::Pedal;
        let harp = harp_file::preset(if lever { "lever-34" } else { "pedal-47" })
            .unwrap_or_else(|| unreachable!("presets are there"));
        let with_steps: Vec<StringNumber> = harp
            .numbered()
            .filter(|(_, string)| string.mechanism != Mechanism::Fixed)
            .map(|(number, _)| number)
            .collect();
        let string = with_steps[(pick(1) * with_steps.len() as f64) as usize];
        let side = if pick(2) < 0.5 { -1.0 } else { 1.0 };
        let position = if lever || pick(3) < 0.5 { 1 } else { 2 };
        let trouble = match kind {
            Kind::Healthy => None,
            Kind::Slips => Some(Trouble::SlippingPin {
                string,
                cents_a_day: between(4, 5.0, 15.0),
            }),
            Kind::Strong => Some(Trouble::FalseString {
                string,
                lost_mass: 0.04,
            }),
            Kind::Moderate => Some(Trouble::FalseString {
                string,
                lost_mass: 0.02,
            }),
            Kind::New => Some(Trouble::NewString { string }),
            Kind::Turned => Some(Trouble::Turned {
                string,
                cents: side * between(4, 12.0, 60.0),
            }),
            Kind::Gauge => {
                let thick = between(4, 1.2, 1.45);
                Some(Trouble::WrongGauge {
                    string,
                    ratio: if side > 0.0 { thick } else { 1.0 / thick },
                })
            }
            Kind::Pedal => Some(Trouble::Pedal {
                letter: Letter::ALL[(pick(5) * 7.0) as usize],
                position,
                cents: side * between(4, 6.0, 12.0),
            }),
            Kind::Disc => Some(Trouble::Disc {
                string,
                position,
                cents: side * between(4, 8.0, 14.0),
            }),
            Kind::Room => Some(Trouble::Room {
                humidity_percent: side * between(4, 14.0, 25.0),
                temperature_c: -side * between(5, 0.0, 2.0),
            }),
        };
        // What is false may be so from the first tuning on; all else begins after some tunings.
        let at_first = matches!(kind, Kind::Strong | Kind::Moderate) && pick(6) < 0.5;
        let from = if at_first { 0 } else { 4 + (pick(7) * 26.0) as usize };
        let plot = Plot {
            seed: (number as u64) * 97 + kind as u64,
            harp,
            tuned_a_day: if pick(8) < 0.7 { 0.85 } else { 0.35 },
            hall_a_day: 0.12,
            trouble: trouble.map(|trouble| (trouble, from)),
        };
        let teller: Box<dyn Storyteller> = match generator {
            Generator::Wooden => Box::new(Wooden::new(plot)),
            Generator::Drawn => Box::new(Drawn::new(plot)),
        };
        let chronicle = Chronicle::new(teller.life().sheet.clone());
        Self {
            teller,
            chronicle,
            casting,
            trouble,
            truth: Truth::default(),
        }
    }

    pub(crate) fn next(&mut self) {
        self.truth = self.teller.next();
        self.chronicle.catch_up(self.teller.life());
    }

    /// Tells on until the trouble has been at work in so many tunings.
    pub(crate) fn until_seen(&mut self, tunings: usize) {
        while self.truth.seen < tunings {
            self.next();
        }
    }

    /// Tells on until the new string holds, and says since when.
    pub(crate) fn until_held(&mut self) -> Date {
        for _ in 0..40 {
            self.next();
        }
        self.truth.holds_on.unwrap_or(self.today())
    }

    pub(crate) fn today(&self) -> Date {
        self.teller
            .life()
            .visits
            .last()
            .map_or(Date::default(), |visit| visit.at.date())
    }

    pub(crate) fn strings(&self) -> usize {
        self.teller.life().sheet.harp.len()
    }

    pub(crate) fn findings(&self) -> Vec<Finding> {
        look(&self.chronicle, self.teller.life(), self.today())
    }

    /// Whether a finding is about what the trouble is about.
    pub(crate) fn is_about_it(&self, about: About) -> bool {
        match (self.trouble, about) {
            (Some(Trouble::Pedal { letter, .. }), About::Letter(other)) => letter == other,
            (Some(Trouble::Room { .. }), About::Material(_)) => true,
            (Some(trouble), About::String(string)) => trouble.string() == Some(string),
            _ => false,
        }
    }

    /// Whether the trouble is named now.
    pub(crate) fn names_it(&self) -> bool {
        self.findings()
            .iter()
            .any(|finding| self.is_about_it(finding.about) && finding.cause.word() == self.casting.kind.word())
    }

    /// Whether it is said that it is too early to say.
    pub(crate) fn is_too_early(&self) -> bool {
        self.findings()
            .iter()
            .any(|finding| self.is_about_it(finding.about) && matches!(finding.cause, Cause::TooEarly { .. }))
    }

    /// What else is named of the string or letter in trouble, if that is not true as well.
    pub(crate) fn names_wrongly(&self) -> Option<&'static str> {
        let right = self.casting.kind.word();
        let findings = self.findings();
        let of_its_strings = |about: About| match (self.trouble, about) {
            (Some(Trouble::Pedal { letter, .. }), About::String(string)) => self
                .teller
                .life()
                .sheet
                .harp
                .string(string)
                .is_some_and(|string| string.open.letter == letter),
            _ => self.is_about_it(about),
        };
        findings
            .iter()
            .filter(|finding| of_its_strings(finding.about))
            .map(|finding| finding.cause.word())
            .find(|&word| {
                let also_true = self.casting.kind == Kind::Gauge && word == "new-string";
                word != right && word != "too-early" && !also_true
            })
    }

    /// Whether a finding says that the room moved a material, and it did.
    pub(crate) fn is_true_of_the_room(&self, finding: &Finding) -> bool {
        match (finding.about, &finding.cause) {
            (About::Material(material), Cause::Room { by, .. }) => {
                let truly = self.truth.room.get(&material).copied().unwrap_or(0.0);
                truly.abs() >= 2.0 && truly * by.0 > 0.0
            }
            _ => false,
        }
    }
}
