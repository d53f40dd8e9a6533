//! What plucks and marks make of a string and of a harp: tables of what a harpist would say.

use consort_proto::harp_file::preset;
use consort_proto::readiness::{FALLS_UNTIL_STUBBORN, standing};
use consort_proto::target::{ReferencePitch, Tuning};
use consort_proto::{
    Cents, Harp, HarpString, Mark, Note, Readiness, Reading, Scheme, Setting, Standing, StringNumber, StringStory,
    Temperament, Tolerance,
};

fn harp() -> Harp {
    preset("pedal-47").expect("a preset")
}

fn number(harp: &Harp, name: &str) -> StringNumber {
    let note: Note = name.parse().expect("a note");
    harp.find(note.letter, note.octave).expect("a string")
}

fn string(harp: &Harp, name: &str) -> HarpString {
    *harp.string(number(harp, name)).expect("a string")
}

/// One pluck of `string`, `cents` above its target in `tuning`.
fn pluck(harp: &Harp, number: StringNumber, tuning: &Tuning, cents: f64) -> Reading {
    let target = tuning.open_target(harp.string(number).expect("a string"));
    Reading::new(number, target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading")
}

/// A story of plucks of string `name`, each so many cents above its target in `tuning`.
fn plucked(harp: &Harp, name: &str, tuning: &Tuning, plucks: &[f64]) -> StringStory {
    let mut story = StringStory::default();
    for &cents in plucks {
        story.hear(pluck(harp, number(harp, name), tuning, cents));
    }
    story
}

/// The word and the cents of `standing`, the cents to a thousandth.
fn told(standing: Standing) -> (&'static str, Option<f64>) {
    (
        standing.word(),
        standing.cents().map(|cents| (cents.0 * 1000.0).round() / 1000.0 + 0.0),
    )
}

/// A4 is of gut and counts as in tune within 2 cents; every story is told from its first pluck on.
#[test]
fn a_string_is_what_its_plucks_in_their_order_make_of_it() {
    let harp = harp();
    let tuning = Tuning::default();
    for (plucks, word) in [
        (&[][..], "not-heard"),
        (&[-7.0][..], "off"),
        (&[7.0], "off"),
        (&[-7.0, -1.0], "set-once"),
        (&[1.0], "set-once"),
        (&[1.0, -1.0], "holds"),
        (&[-7.0, 1.5, 0.5], "holds"),
        // Twice in a row is what counts, not twice in all.
        (&[1.0, 4.0], "off"),
        (&[1.0, 4.0, 1.0], "set-once"),
        (&[1.0, 4.0, 1.0, 1.0], "holds"),
        // Held, and then fell.
        (&[0.0, 0.0, 5.0], "moved"),
        (&[0.0, 0.0, 5.0, 6.0, -3.0], "moved"),
        (&[0.0, 0.0, 5.0, 0.0], "set-once"),
        (&[0.0, 0.0, 5.0, 0.0, 0.0], "holds"),
        // Held three times and fallen three times.
        (&[0.0, 0.0, -5.0, 0.0, 0.0, -5.0], "moved"),
        (&[0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0], "will-not-hold"),
        (&[0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0, -5.0], "will-not-hold"),
        // In tune for one pluck only counts half: the key may still have been on its pin.
        (&[0.0, -5.0, 0.0, -5.0, 0.0, -5.0], "off"),
        (
            &[0.0, -5.0, 0.0, -5.0, 0.0, -5.0, 0.0, -5.0, 0.0, -5.0, 0.0, -5.0],
            "will-not-hold",
        ),
        // What stands higher was turned, and what stands hardly lower has not fallen.
        (&[0.0, 0.0, 5.0, 0.0, 0.0, 5.0, 0.0, 0.0, 5.0], "moved"),
        (&[-1.0, -1.0, -2.2, -1.0, -1.0, -2.2, -1.0, -1.0, -2.2], "moved"),
        // Plucks that were never in tune are no falls: the harpist is still turning the key.
        (&[9.0, 7.0, 5.0, 4.0, 3.0], "off"),
        (&[0.0, -5.0, -5.0, -5.0, -5.0], "off"),
        // Once is not enough for a stubborn string, twice in a row is.
        (&[0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0], "will-not-hold"),
        (&[0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0], "holds"),
        (
            &[0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0],
            "will-not-hold",
        ),
    ] {
        let story = plucked(&harp, "A4", &tuning, plucks);
        let found = standing(&string(&harp, "A4"), &story, &tuning, &Tolerance::default());
        assert_eq!(told(found), (word, plucks.last().copied()), "{plucks:?}");
    }
    assert_eq!(FALLS_UNTIL_STUBBORN, 3);
}

/// Common practice, no source, for the three figures: 2 cents in the middle, 3 for wires, 5 from D6 up.
#[test]
fn the_tolerance_goes_by_register_and_material() {
    let harp = harp();
    let tolerance = Tolerance::default();
    for (name, cents) in [
        ("G7", 5.0),
        ("F6", 5.0),
        ("D6", 5.0),
        ("C6", 2.0),
        ("A4", 2.0),
        ("A2", 2.0),
        ("G2", 3.0),
        ("C1", 3.0),
    ] {
        let string = string(&harp, name);
        assert_eq!(tolerance.of(&string), Cents(cents), "{name}");
        for (off, word) in [(cents - 0.01, "set-once"), (cents + 0.01, "off")] {
            for off in [off, -off] {
                let story = plucked(&harp, name, &Tuning::default(), &[off]);
                let found = standing(&string, &story, &Tuning::default(), &tolerance);
                assert_eq!(found.word(), word, "{name} {off} cents off");
            }
        }
    }
}

#[test]
fn a_top_string_of_wire_goes_by_its_register() {
    let mut string = string(&harp(), "D6");
    string.material = consort_proto::Material::Wire;
    assert_eq!(Tolerance::default().of(&string), Cents(5.0));
    assert!(Tolerance::default().is_top(&string));
}

#[test]
fn the_tolerance_that_was_agreed_is_the_one_that_counts() {
    let harp = harp();
    let strict = Tolerance {
        middle: Cents(1.0),
        wires: Cents(1.5),
        top: Cents(2.5),
    };
    let story = plucked(&harp, "A4", &Tuning::default(), &[1.4, 1.4]);
    let judged = |tolerance: &Tolerance| standing(&string(&harp, "A4"), &story, &Tuning::default(), tolerance).word();
    assert_eq!((judged(&Tolerance::default()), judged(&strict)), ("holds", "off"));
}

/// Computed from the definition of the cent: 440 Hz is 7.8514 cents below 442, 443 Hz is 3.9125 above.
#[test]
fn a_moved_reference_judges_every_string_anew_without_a_pluck() {
    let harp = harp();
    let at = |hz| Tuning {
        a4: ReferencePitch::new(hz).expect("a pitch"),
        ..Tuning::default()
    };
    let stories: Vec<StringStory> = harp
        .numbered()
        .map(|(number, _)| {
            let mut story = StringStory::default();
            story.hear(pluck(&harp, number, &at(440.0), 0.0));
            story.hear(pluck(&harp, number, &at(440.0), 0.0));
            story
        })
        .collect();
    let judged = |hz| Readiness::judge(&harp, &stories, &at(hz), &Tolerance::default());
    assert!(judged(440.0).is_ready());
    for standing in judged(442.0).standings() {
        // It was the agreement that moved, so no string is said to have moved.
        assert_eq!(told(*standing), ("off", Some(-7.851)));
    }
    assert_eq!(judged(442.0).left(), 47);
    assert!(judged(440.0).is_ready(), "and back again");
    // Half a hertz stays within the tolerance of every string: +1.97 cents, ISO 16:1975.
    assert!(judged(439.5).is_ready());
    assert_eq!(
        judged(439.5)
            .standings()
            .iter()
            .map(|standing| told(*standing).1)
            .max_by(|a, b| a.partial_cmp(b).expect("numbers")),
        Some(Some(1.968))
    );
}

/// Computed from the definition: Vallotti puts C 5.865 cents above equal temperament and leaves A.
#[test]
fn a_moved_temperament_judges_only_what_it_moves() {
    let harp = harp();
    let vallotti = Tuning {
        temperament: Temperament::named(Scheme::Vallotti),
        ..Tuning::default()
    };
    for (name, word, cents) in [("C4", "off", -5.865), ("A4", "holds", 0.0), ("D4", "holds", -1.955)] {
        let story = plucked(&harp, name, &Tuning::default(), &[0.0, 0.0]);
        let found = standing(&string(&harp, name), &story, &vallotti, &Tolerance::default());
        assert_eq!(told(found), (word, Some(cents)), "{name}");
    }
}

#[test]
fn in_equal_temperament_another_setting_moves_no_string_with_discs() {
    let harp = harp();
    let story = plucked(&harp, "F4", &Tuning::default(), &[0.0, 0.0]);
    for sharps in -7..=7 {
        let tuning = Tuning {
            setting: Setting::major(sharps).expect("a key"),
            ..Tuning::default()
        };
        let found = standing(&string(&harp, "F4"), &story, &tuning, &Tolerance::default());
        assert_eq!(told(found), ("holds", Some(0.0)), "{sharps}");
    }
}

#[test]
fn a_mark_outranks_what_was_heard_and_comes_off_without_a_trace() {
    let harp = harp();
    let judged = |story: &StringStory| {
        told(standing(
            &string(&harp, "A4"),
            story,
            &Tuning::default(),
            &Tolerance::default(),
        ))
    };
    for (plucks, plain, new) in [
        (&[][..], ("not-heard", None), ("new", None)),
        (&[6.0][..], ("off", Some(6.0)), ("new", Some(6.0))),
        (&[0.5, 1.0], ("holds", Some(1.0)), ("new", Some(1.0))),
    ] {
        let mut story = plucked(&harp, "A4", &Tuning::default(), plucks);
        assert_eq!(judged(&story), plain);
        story.set_mark(Some(Mark::New));
        assert_eq!(judged(&story), new);
        story.set_mark(Some(Mark::Missing));
        assert_eq!(judged(&story), ("missing", None));
        story.set_mark(None);
        assert_eq!(judged(&story), plain);
    }
}

#[test]
fn a_new_round_forgets_the_plucks_and_keeps_the_mark() {
    let harp = harp();
    let mut story = plucked(&harp, "A4", &Tuning::default(), &[0.0, 0.0, 5.0]);
    story.begin_round();
    assert_eq!((story.readings(), story.last(), story.mark()), (&[][..], None, None));
    story.hear(pluck(&harp, number(&harp, "A4"), &Tuning::default(), 5.0));
    let found = standing(&string(&harp, "A4"), &story, &Tuning::default(), &Tolerance::default());
    assert_eq!(found.word(), "off", "it moved in another round");
    story.set_mark(Some(Mark::Missing));
    story.begin_round();
    assert_eq!(story.mark(), Some(Mark::Missing));
}

#[test]
fn the_newest_plucks_are_kept_and_the_oldest_dropped() {
    let harp = harp();
    let plucks: Vec<f64> = (0..StringStory::KEPT as i32 + 6).map(f64::from).collect();
    let story = plucked(&harp, "A4", &Tuning::default(), &plucks);
    assert_eq!(story.readings().len(), StringStory::KEPT);
    let oldest = pluck(&harp, number(&harp, "A4"), &Tuning::default(), 6.0);
    assert_eq!(story.readings().first(), Some(&oldest));
    let newest = pluck(&harp, number(&harp, "A4"), &Tuning::default(), plucks[plucks.len() - 1]);
    assert_eq!(story.last(), Some(&newest));
}

/// The stories of a harp on which every string holds.
fn all_hold(harp: &Harp) -> Vec<StringStory> {
    harp.strings()
        .iter()
        .map(|string| {
            plucked(
                harp,
                &format!("{}{}", string.open.letter, string.open.octave),
                &Tuning::default(),
                &[0.0, 0.0],
            )
        })
        .collect()
}

#[test]
fn a_harp_is_ready_when_every_string_holds_or_is_set_aside() {
    let harp = harp();
    let a4 = number(&harp, "A4");
    let judge = |stories: &[StringStory]| Readiness::judge(&harp, stories, &Tuning::default(), &Tolerance::default());
    let stubborn = [0.0, 0.0, -5.0, 0.0, 0.0, -5.0, 0.0, 0.0, -5.0];
    for (plucks, mark, ready, holding, left, aside) in [
        (&[0.0, 0.0][..], None, true, 47, 0, false),
        (&[][..], None, false, 46, 1, false),
        (&[0.0], None, false, 46, 1, false),
        (&[5.0], None, false, 46, 1, false),
        (&[0.0, 0.0, -5.0], None, false, 46, 1, false),
        (&stubborn, None, true, 46, 0, true),
        (&[], Some(Mark::New), true, 46, 0, true),
        (&[5.0], Some(Mark::New), true, 46, 0, true),
        (&[], Some(Mark::Missing), true, 46, 0, true),
    ] {
        let mut stories = all_hold(&harp);
        stories[a4.index()] = plucked(&harp, "A4", &Tuning::default(), plucks);
        stories[a4.index()].set_mark(mark);
        let readiness = judge(&stories);
        let found = (readiness.is_ready(), readiness.holding(), readiness.left());
        assert_eq!(found, (ready, holding, left), "{plucks:?} {mark:?}");
        let set_aside: Vec<StringNumber> = readiness.set_aside().collect();
        assert_eq!(set_aside, if aside { vec![a4] } else { vec![] }, "{plucks:?} {mark:?}");
    }
}

#[test]
fn strings_without_a_story_were_not_heard_and_strings_beyond_the_harp_do_not_count() {
    let harp = harp();
    let tuning = Tuning::default();
    let silent = Readiness::judge(&harp, &[], &tuning, &Tolerance::default());
    assert_eq!((silent.is_ready(), silent.holding(), silent.left()), (false, 0, 47));
    let mut stories = all_hold(&harp);
    stories.push(StringStory::default());
    let readiness = Readiness::judge(&harp, &stories, &tuning, &Tolerance::default());
    assert_eq!((readiness.is_ready(), readiness.standings().len()), (true, 47));
    assert_eq!(
        readiness.of(StringNumber::new(47).expect("a number")),
        Some(Standing::Holds(readiness.standings()[46].cents().expect("heard")))
    );
    assert_eq!(readiness.of(StringNumber::new(48).expect("a number")), None);
}

#[test]
fn only_holding_and_set_aside_strings_let_the_harp_be_ready() {
    let cents = Cents(0.0);
    for (standing, ready, aside) in [
        (Standing::NotHeard, false, false),
        (Standing::Off(cents), false, false),
        (Standing::SetOnce(cents), false, false),
        (Standing::Holds(cents), true, false),
        (Standing::Moved(cents), false, false),
        (Standing::WillNotHold(cents), true, true),
        (Standing::New(None), true, true),
        (Standing::Missing, true, true),
    ] {
        assert_eq!(
            (standing.lets_the_harp_be_ready(), standing.is_set_aside()),
            (ready, aside),
            "{standing:?}"
        );
    }
}
