//! Who plays: four invented harpists, each with a harp that is out of tune in its own way.

use std::path::Path;

use consort_harp::pickup::Pickup;
use consort_harp::{Condition, Fault, Library, Pace, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp, Letter, Note, SampleRate, StringNumber, harp_file};

/// A harpist and what she brings.
#[derive(Clone, Debug)]
pub(crate) struct Part {
    /// An invented name.
    pub(crate) player: &'static str,
    /// The harp, by the name that a station knows.
    pub(crate) harp_word: &'static str,
    pub(crate) harp: Harp,
    pub(crate) pace: Pace,
    /// What the audience is told of her harp.
    pub(crate) trouble: &'static str,
    condition: Condition,
    room: Room,
    recorded: bool,
}

/// What everything in the rehearsal that is left to chance comes from.
const SEED: u64 = 1_904;
/// How loud the others are at each pickup beside a pluck, decibels: assumed, for a clip on the wood.
const ROOM: Room = Room {
    warm_up_db: Some(-30.0),
    talk_db: Some(-35.0),
    harp_db: None,
};

/// The four.
pub(crate) fn cast() -> Result<[Part; 4], String> {
    let mut runa = Part::new("Runa", "pedal-47", Pace::PROFESSIONAL, 0)?;
    runa.trouble = "3G has a pin that slips";
    runa.afflict("3G", Fault::SlippingPin)?;
    let mut teodor = Part::new("Teodor", "pedal-46", Pace::PROFESSIONAL, 1)?;
    teodor.trouble = "the B pedal is left in natural";
    teodor.condition.pedals.push((Letter::B, 1));
    let mut ilka = Part::new("Ilka", "lever-34", Pace::PROFESSIONAL, 2)?;
    ilka.trouble = "a lever harp in E flat; the lever of 4D is left up";
    ilka.afflict("4D", Fault::LeverUp)?;
    let mut maren = Part::new("Maren", "pedal-40", Pace::STUDENT, 3)?;
    maren.trouble = "recorded strings, and a student's hand";
    maren.recorded = true;
    Ok([runa, teodor, ilka, maren])
}

impl Part {
    fn new(player: &'static str, harp_word: &'static str, pace: Pace, number: u64) -> Result<Self, String> {
        let harp = harp_file::preset(harp_word).ok_or_else(|| format!("there is no harp {harp_word}"))?;
        Ok(Self {
            player,
            harp_word,
            condition: Condition::before_a_rehearsal(&harp, SEED + number),
            harp,
            pace,
            trouble: "",
            room: ROOM,
            recorded: false,
        })
    }

    /// Gives the string of that letter and harp octave a fault.
    fn afflict(&mut self, name: &str, fault: Fault) -> Result<(), String> {
        let note = Note::from_harp_name(name).map_err(|why| why.to_string())?;
        let of_it = self
            .harp
            .numbered()
            .find(|(_, string)| string.open.steps() == note.steps());
        let (number, _) = of_it.ok_or_else(|| format!("{} has no {name}", self.harp_word))?;
        self.condition.faults.push((number, fault));
        Ok(())
    }

    /// The harp as it is found.
    pub(crate) fn virtual_harp(&self, rate: SampleRate) -> Result<VirtualHarp, String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        let library = self
            .recorded
            .then(|| Library::read(&folder))
            .transpose()
            .map_err(|why| why.to_string())?;
        let stage = Stage {
            rate,
            voices: library.as_ref().map_or(Voices::Computed, Voices::Recorded),
            pickup: Pickup::GOOD,
            room: self.room,
        };
        Ok(VirtualHarp::new(&self.harp, &self.condition, stage))
    }

    /// What decides her hand's chances.
    pub(crate) const fn seed(&self) -> u64 {
        self.condition.seed
    }

    /// The string's name as harpists say it.
    pub(crate) fn name_of(&self, string: u8) -> String {
        StringNumber::new(string.into())
            .ok()
            .and_then(|number| self.harp.string(number))
            .map_or_else(|| string.to_string(), |string| string.open.harp_name())
    }
}
