//! The forms in which a record leaves and enters: plain structures for JSON, each field named with its unit.
//!
//! Stable: fields are added, never renamed; days are `2026-11-25`, moments `2026-11-25T19:30:00Z`.

mod meaning;

use consort_proto::{Accidental, Kind, Letter, Material, Mechanism};
use consort_record::CONCERT_DAYS;
use serde::{Deserialize, Serialize};

pub(crate) use meaning::{Meaningless, strings_of, temperament_text};

/// A record of harps as a whole; a backup is one.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Whole {
    /// The version of this form: 1.
    pub consort_record: u32,
    /// The harps.
    pub harps: Vec<HarpForm>,
}

/// One harp with everything that is known of it.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct HarpForm {
    /// Tells it from all other harps, on every laptop.
    pub tag: String,
    /// Its name.
    pub name: String,
    /// pedal, lever or other.
    pub kind: Kind,
    /// From the top.
    pub strings: Vec<StringForm>,
    /// tapered or threaded.
    pub pins: String,
    /// professional, student or amateur.
    pub player: String,
    /// The day it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<String>,
    /// Days before a concert in which nothing unbroken is replaced; 10 where nothing is said.
    #[serde(default = "usual_concert_days", skip_serializing_if = "is_usual")]
    pub concert_days: u8,
    /// Letters whose open strings make allowance for their discs or levers, as in `C G`; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub allowed: String,
    /// Its tunings in the order of time.
    #[serde(default)]
    pub tunings: Vec<TuningForm>,
    /// Strings put on.
    #[serde(default)]
    pub fittings: Vec<FittingForm>,
    /// What was done to it.
    #[serde(default)]
    pub events: Vec<EventForm>,
    /// Concerts.
    #[serde(default)]
    pub concerts: Vec<ConcertForm>,
    /// The room.
    #[serde(default)]
    pub climate: Vec<ClimateForm>,
    /// Strings in stock.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lengths: Vec<LengthForm>,
    /// Lengths that are not to be used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spoilt: Vec<SpoiltForm>,
}

pub(crate) const fn usual_concert_days() -> u8 {
    CONCERT_DAYS
}

/// A form without the field is what programs of before it read and wrote.
pub(crate) const fn is_usual(days: &u8) -> bool {
    *days == CONCERT_DAYS
}

/// One string.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct StringForm {
    /// Letter.
    pub letter: Letter,
    /// Open accidental.
    pub accidental: Accidental,
    /// Scientific octave.
    pub octave: i8,
    /// Material.
    pub material: Material,
    /// Mechanism.
    pub mechanism: Mechanism,
    /// Known regulation errors of one and two semitones, cents.
    pub regulation_cents: [f64; 2],
}

/// `figure` with nine decimals: what JSON says is then read again as exactly the same number, also by readers that are a
/// last digit off with longer ones.
pub(crate) fn exact(figure: f64) -> f64 {
    let rounded = (figure * 1e9).round() / 1e9;
    if rounded.is_finite() { rounded } else { figure }
}

/// One tuning.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct TuningForm {
    /// When it began.
    pub begun: String,
    /// Where.
    pub place: String,
    /// Reference pitch.
    pub a4_hz: f64,
    /// Its word, or twelve offsets.
    pub temperament: String,
    /// The pedal setting that it serves.
    pub setting: String,
    /// Middle, wires, top.
    pub tolerance_cents: [f64; 3],
    /// Its readings in the order of strings and time.
    pub readings: Vec<ReadingForm>,
}

/// One reading.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingForm {
    /// Milliseconds since 1970.
    pub at_unix_ms: i64,
    /// From the top.
    pub string: u8,
    /// 0, 1 or 2 semitones.
    pub position: u8,
    /// Frequency.
    pub hz: f64,
    /// Its uncertainty.
    pub sigma_cents: f64,
    /// What else was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timbre: Option<TimbreForm>,
}

/// What a pluck sounded like.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct TimbreForm {
    /// Number, cents above that many times the first, uncertainty in cents.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub partials: Vec<(u8, f64, f64)>,
    /// Beating.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beat_hz: Option<f64>,
    /// Decay to 1/e.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decay_s: Option<f64>,
    /// Upper against lower partials.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brightness_db: Option<f64>,
    /// How far the pitch moved while it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glide_cents: Option<f64>,
}

/// A string put on.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct FittingForm {
    /// Which string.
    pub string: u8,
    /// The day.
    pub on: String,
    /// Material.
    pub material: Material,
    /// Diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge_mm: Option<f64>,
    /// The length that it was cut from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length: Option<String>,
    /// Taken out of the record.
    #[serde(default, skip_serializing_if = "is_false")]
    pub removed: bool,
}

/// Something done.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct EventForm {
    /// The day.
    pub on: String,
    /// restrung, moved, regulated, pin-pushed, broke or remark.
    pub deed: String,
    /// To which string.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub string: Option<u8>,
    /// In her own words.
    #[serde(default)]
    pub note: String,
    /// Taken out of the record.
    #[serde(default, skip_serializing_if = "is_false")]
    pub removed: bool,
}

/// A concert.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ConcertForm {
    /// The day.
    pub on: String,
    /// Its name.
    pub name: String,
    /// Taken out of the record.
    #[serde(default, skip_serializing_if = "is_false")]
    pub removed: bool,
}

/// The room.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ClimateForm {
    /// When.
    pub at: String,
    /// Degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub humidity_percent: Option<f64>,
}

/// A bought length.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct LengthForm {
    /// Its name.
    pub name: String,
    /// The day it was bought.
    pub bought: String,
    /// The string that it is for.
    pub string: u8,
    /// Material.
    pub material: Material,
    /// Diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge_mm: Option<f64>,
    /// Strings that the whole of it yields.
    pub yields: u32,
    /// Taken out of the record.
    #[serde(default, skip_serializing_if = "is_false")]
    pub removed: bool,
}

/// A length that is not to be used.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct SpoiltForm {
    /// The length's name.
    pub length: String,
    /// Since when.
    pub on: String,
    /// Why.
    #[serde(default)]
    pub note: String,
    /// Taken out of the record.
    #[serde(default, skip_serializing_if = "is_false")]
    pub removed: bool,
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
const fn is_false(flag: &bool) -> bool {
    !*flag
}
