//! An invented harp's record of three months with a little of everything wrong, ending yesterday.

use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use consort_proto::{Cents, HarpString, Letter, Material, Reading, StringNumber, Tolerance, Tuning, harp_file};
use consort_record::{
    Climate, Concert, Date, Fitting, Heard, Length, Moment, Partial, Pins, Place, Player, Sheet, Timbre,
};
use consort_record_store::{Entry, Store};

/// Tunings, three days apart.
const TUNINGS: i32 = 28;
/// The string whose pin slips (3B) and since which tuning.
const SLIPS: (u8, i32) = (20, 16);
/// The string that is false (2E).
const FALSE: u8 = 10;
/// The string that was put on ten days ago (4F).
const NEW: u8 = 30;

/// Writes the record into `file` and gives the name of its harp.
pub(crate) fn write(file: &Path) -> String {
    let mut store = Store::open(file).expect("a record");
    let harp = harp_file::preset("pedal-47").expect("a preset");
    let sheet = Sheet {
        pins: Pins::Tapered,
        player: Player::Student,
        made: None,
        ..Sheet::of(harp.clone())
    };
    let id = store.add_harp("walnut", &sheet).expect("a harp");
    let kept = store.harp(None).expect("the harp");
    let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
    let today = Moment(since_1970.as_secs().cast_signed()).date();
    let fitted_on = |number: u8, material: Material| {
        let days = match (number, material) {
            (NEW, _) => 10,
            (number, _) if number <= 14 => 640 + 9 * i32::from(number),
            (_, Material::Wire) => 900,
            (number, _) => 300 + 37 * (i32::from(number) % 9),
        };
        today.plus(-days)
    };
    for (number, string) in harp.numbered().filter(|(number, _)| number.get() % 13 != 5) {
        let fitting = Fitting {
            string: number,
            on: fitted_on(number.get(), string.material),
            material: string.material,
            gauge_mm: None,
            length: (number.get() == FALSE || number.get() == FALSE + 7).then(|| "2E-spring".to_owned()),
        };
        store.write(&kept, &Entry::Fitting(fitting), today).expect("a fitting");
    }
    for (name, number, yields) in [("2E-spring", FALSE, 4), ("2D-summer", FALSE + 1, 3), ("1F", 9, 1)] {
        let string = StringNumber::new(u32::from(number)).expect("a string");
        let length = Length {
            name: name.to_owned(),
            bought: today.plus(-700),
            string,
            material: harp.string(string).expect("a string").material,
            gauge_mm: None,
            yields,
        };
        store.write(&kept, &Entry::Length(length), today).expect("a length");
    }
    let concert = Concert {
        on: today.plus(16),
        name: "Winter concert".to_owned(),
    };
    store.write(&kept, &Entry::Concert(concert), today).expect("a concert");
    for visit in 0..TUNINGS {
        let day = today.plus(3 * (visit - TUNINGS) + 2);
        let humid = humidity(visit);
        let air = Climate::new(day.noon(), Some(20.5 + f64::from(visit % 5) / 4.0), Some(humid)).expect("air");
        store.note_climate(id, &air).expect("the room");
        let tuning = store
            .begin_tuning(
                id,
                day.noon(),
                &Place::default(),
                &Tuning::default(),
                &Tolerance::default(),
            )
            .expect("a tuning");
        let mut heard = Vec::new();
        for (number, string) in harp.numbered() {
            plucks((number, string), visit, day, &mut heard);
        }
        store.hear_all(id, tuning, &heard).expect("kept");
    }
    harp.name().to_owned()
}

/// Percent; it rises before the newest tuning.
fn humidity(visit: i32) -> f64 {
    41.0 + f64::from((visit * 7) % 5) / 2.0 + if visit == TUNINGS - 1 { 13.0 } else { 0.0 }
}

/// The plucks of one string in one tuning: as found, as left, and its steps where they were checked.
fn plucks((number, string): (StringNumber, &HarpString), visit: i32, day: Date, heard: &mut Vec<(i64, Heard)>) {
    let place = number.get();
    let open = Tuning::default().open_target(string);
    let wanders = f64::from((visit * 31 + i32::from(place) * 17) % 23) / 12.0 - 0.95;
    let room = match (string.material, visit == TUNINGS - 1) {
        (Material::Gut, true) => -5.0,
        (Material::Nylon, true) => 1.0,
        _ => 0.0,
    };
    let age = 3 * (visit - TUNINGS + 4);
    let own = match place {
        place if place == SLIPS.0 && visit >= SLIPS.1 => -8.0 - f64::from((visit * 5) % 7),
        NEW if age > 0 => -110.0 / f64::from(age),
        _ => 0.0,
    };
    let mut hear = |later: i64, position: u8, cents: f64, timbre: Option<Timbre>| {
        let at_ms = (day.noon().0 + i64::from(place) * 20 + later) * 1_000;
        let reading = Reading::new(number, open.raised_by(Cents(cents)), Cents(0.3)).expect("a reading");
        let at = Moment(at_ms / 1_000);
        heard.push((
            at_ms,
            Heard {
                at,
                position,
                reading,
                timbre,
            },
        ));
    };
    hear(0, 0, wanders + room + own, Some(timbre(place)));
    hear(5, 0, 0.2, Some(timbre(place)));
    // The table was made twice; the lowest two octaves were left out.
    if [20, 26].contains(&visit) && place <= 33 {
        for position in 1..=string.mechanism.positions() {
            let error = match (string.open.letter, position, place) {
                (Letter::G, 1, _) => 8.0,
                (_, 2, 17) => -9.0,
                _ => f64::from((i32::from(place) * 7 + i32::from(position) * 3) % 5) - 2.0,
            };
            hear(
                8 + i64::from(position),
                position,
                100.0 * f64::from(position) + 0.2 + error,
                None,
            );
        }
    }
}

/// Partials of a stiff string, and of one that is not even.
fn timbre(place: u8) -> Timbre {
    let stiffness = 2e-4;
    let partials = (2..=6_u8).map(|number| {
        let n = f64::from(number);
        let law = 1_200.0 * ((1.0 + stiffness * n * n) / (1.0 + stiffness)).sqrt().log2();
        let uneven = if place == FALSE {
            [11.0, -7.0, 5.0, 9.0, -6.0][usize::from(number) - 2]
        } else {
            0.0
        };
        Partial {
            number,
            above: Cents(law + uneven),
            sigma: Cents(0.3),
        }
    });
    Timbre {
        partials: partials.collect(),
        ..Timbre::default()
    }
}
