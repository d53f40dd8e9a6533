//! What was done to the harp on the day of its newest tuning, or after it.

use consort_proto::{Cents, Reading, StringNumber, Tolerance, Tuning, harp_file};
use consort_record::{Chronicle, Date, Deed, Event, Heard, Life, Moment, Place, Sheet, Visit, look};

const BEGINS: i64 = 1_790_000_000;

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// The day so many days after the first tuning.
fn day(number: i64) -> Date {
    Moment(BEGINS + number * 86_400).date()
}

/// A life with a tuning at each of the `hours` after the first, in which strings are found as `found(tuning, string)`.
fn life(hours: &[i64], found: impl Fn(usize, u8) -> f64) -> Life {
    let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
    for (number, hour) in hours.iter().enumerate() {
        let at = Moment(BEGINS + hour * 3_600);
        let mut visit = Visit::new(at, Place::default(), Tuning::default(), Tolerance::default());
        for (string, kind) in life.sheet.harp.numbered() {
            let open = Tuning::default().open_target(kind);
            let wanders = ((number * 7 + usize::from(string.get()) * 5) % 11) as f64 / 10.0 - 0.5;
            for cents in [wanders + found(number, string.get()), 0.0] {
                let reading = Reading::new(string, open.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
                visit.hear(&Heard {
                    at,
                    position: 0,
                    reading,
                    timbre: None,
                });
            }
        }
        life.visits.push(visit);
    }
    life
}

fn done(life: &mut Life, on: Date, deed: Deed) {
    life.events.push(Event {
        on,
        deed,
        note: String::new(),
    });
}

/// The causes that are named on the day of the newest tuning.
fn causes(life: &Life) -> Vec<&'static str> {
    let today = life.visits.last().expect("a tuning").at.date();
    let findings = look(&Chronicle::of(life), life, today);
    findings.iter().map(|finding| finding.cause.word()).collect()
}

#[test]
fn a_whole_set_put_on_today_is_new_and_not_moved_by_the_room() {
    let mut life = life(&[0, 24, 48, 72], |tuning, _| if tuning == 3 { -100.0 } else { 0.0 });
    assert!(causes(&life).contains(&"room"));
    done(&mut life, day(3), Deed::Restrung);
    let causes = causes(&life);
    assert!(
        !causes.is_empty() && causes.iter().all(|word| *word == "new-strings"),
        "{causes:?}"
    );
}

#[test]
fn a_whole_set_put_on_after_the_tuning_of_that_day_is_not_blamed_for_its_first_fall() {
    let mut life = life(&[0, 24, 48, 72, 96], |tuning, _| if tuning == 4 { -60.0 } else { 0.0 });
    done(&mut life, day(3), Deed::Restrung);
    let causes = causes(&life);
    assert!(
        !causes.is_empty() && causes.iter().all(|word| *word == "new-strings"),
        "{causes:?}"
    );
}

#[test]
fn a_pin_that_was_pushed_since_it_fell_is_not_to_be_pushed_again() {
    let slips = |tuning: usize, string: u8| {
        if string == 20 && (3..8).contains(&tuning) {
            -9.0
        } else {
            0.0
        }
    };
    // The eighth tuning finds it fallen; the ninth, three hours later, finds it where it was left.
    let hours = [0, 24, 48, 72, 96, 120, 144, 168, 171];
    let mut life = life(&hours, slips);
    assert_eq!(causes(&life), ["slipping-pin"]);
    done(&mut life, day(7), Deed::PinPushed(string(20)));
    assert_eq!(causes(&life), Vec::<&str>::new());
    life.visits.pop();
    assert_eq!(causes(&life), Vec::<&str>::new(), "nor before the next tuning tells");
}
