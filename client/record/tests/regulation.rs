//! Pedals and discs, from readings of the steps, with a measured harp as the worked example.

use consort_proto::{Cents, Letter, Note, Reading, Tolerance, Tuning, harp_file};
use consort_record::check::PLACE;
use consort_record::{About, Cause, Chronicle, Heard, Life, Moment, Place, Sheet, Timbre, Visit, look, regulation};

/// A life in which the steps were checked twice, each string `errors(note)` cents off in natural and in sharp.
fn checked(errors: impl Fn(Note) -> Option<[f64; 2]>) -> Life {
    let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
    let mut life = Life::new(sheet);
    for day in 0..4 {
        let at = Moment(1_790_000_000 + day * 86_400);
        let mut visit = Visit::new(at, Place::default(), Tuning::default(), Tolerance::default());
        for (number, string) in life.sheet.harp.numbered() {
            let open = Tuning::default().open_target(string);
            let mut hear = |position: u8, cents: f64| {
                let reading = Reading::new(number, open.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
                visit.hear(&Heard {
                    at,
                    position,
                    reading,
                    timbre: None,
                });
            };
            hear(0, 0.0);
            hear(0, 0.1);
            if let Some([natural, sharp]) = errors(string.open).filter(|_| day >= 2) {
                hear(1, 100.0 + natural);
                hear(2, 200.0 + sharp);
            }
        }
        life.visits.push(visit);
    }
    life
}

/// What is named, as `5C step` or `G pedal`.
fn named(life: &Life) -> Vec<String> {
    let today = life.visits.last().expect("a tuning").at.date();
    let findings = look(&Chronicle::of(life), life, today);
    findings
        .iter()
        .map(|finding| {
            let about = match finding.about {
                About::String(string) => life.sheet.harp.string(string).expect("a string").open.harp_name(),
                About::Letter(letter) => letter.to_string(),
                About::Material(material) => format!("{material:?}"),
            };
            format!("{about} {}", finding.cause.word())
        })
        .collect()
}

#[test]
fn a_harp_in_regulation_has_no_findings() {
    assert!(named(&checked(|note| Some([f64::from(note.steps() % 3) - 1.0, 1.0]))).is_empty());
}

#[test]
fn one_letter_off_in_all_octaves_is_its_pedal() {
    let life = checked(|note| Some([if note.letter == Letter::G { 8.0 } else { 0.5 }, 0.0]));
    assert_eq!(named(&life), ["G pedal"]);
    let today = life.visits.last().expect("a tuning").at.date();
    let findings = look(&Chronicle::of(&life), &life, today);
    assert!(matches!(findings[0].cause, Cause::Pedal { position: 1, by, .. } if (by.0 - 8.0).abs() < 0.5));
}

#[test]
fn one_string_off_is_its_string_or_disc() {
    let life = checked(|note| Some([if note.harp_name() == "4E" { -9.0 } else { 0.5 }, 0.0]));
    assert_eq!(named(&life), ["4E step"]);
}

/// Natural and sharp of five bass strings of an older harp, measured with the open strings set exactly: only the sharp of
/// 5C stands out beyond what older harps have.
#[test]
fn a_measured_older_harp_has_one_step_out_of_place() {
    let measured = |note: Note| match note.harp_name().as_str() {
        "5C" => Some([2.0, 10.0]),
        "5B" => Some([2.0, 3.0]),
        "6C" => Some([0.0, 5.0]),
        "6B" => Some([0.0, 3.0]),
        "6A" => Some([1.0, 4.0]),
        _ => None,
    };
    assert_eq!(named(&checked(measured)), ["5C step"]);
}

/// A wire that rings for three seconds and falls by a cent while it is measured was heard 2.34 cents above its rest.
#[test]
fn a_raised_string_that_is_plucked_harder_has_no_disc_that_is_off() {
    let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
    let number = sheet.harp.find(Letter::C, 2).expect("a wire");
    let open = Tuning::default().open_target(sheet.harp.string(number).expect("a string"));
    let off = |place: &str, glide: Option<f64>| {
        let at = Moment(1_790_000_000);
        let place = Place::new(place).expect("a place");
        let mut visit = Visit::new(at, place, Tuning::default(), Tolerance::default());
        for (position, cents, glide) in [(0, 0.0, Some(0.0)), (1, 102.34, glide)] {
            visit.hear(&Heard {
                at,
                position,
                reading: Reading::new(number, open.raised_by(Cents(cents)), Cents(0.3)).expect("a reading"),
                timbre: Some(Timbre {
                    glide: glide.map(Cents),
                    decay_s: Some(3.0),
                    ..Timbre::default()
                }),
            });
        }
        let mut life = Life::new(sheet.clone());
        life.visits.push(visit);
        regulation::table(&Chronicle::of(&life))[0].by.0
    };
    assert!(off(PLACE, Some(-1.0)).abs() < 0.02);
    // What was not measured is not reckoned with.
    assert!((off(PLACE, None) - 2.34).abs() < 0.02);
}
