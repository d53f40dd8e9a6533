//! Every key has its sentence, every sentence its key, and people read what the domain says.

use std::collections::BTreeSet;
use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Cents, Standing, Temperament, Tuning, harp_file};
use consort_words::{Arg, Key, Words};
use fluent_syntax::ast::Entry;

const FILES: [&str; 9] = [
    include_str!("../en/guidance.ftl"),
    include_str!("../en/held.ftl"),
    include_str!("../en/listening.ftl"),
    include_str!("../en/standing.ftl"),
    include_str!("../en/board.ftl"),
    include_str!("../en/link.ftl"),
    include_str!("../en/problem.ftl"),
    include_str!("../en/record.ftl"),
    include_str!("../en/terminal.ftl"),
];

#[test]
fn every_key_has_one_sentence_and_every_sentence_a_key() {
    let mut written = Vec::new();
    for text in FILES {
        let parsed = fluent_syntax::parser::parse(text).expect("the sentences are well-formed Fluent");
        written.extend(parsed.body.iter().filter_map(|entry| match entry {
            Entry::Message(message) => Some(message.id.name.to_owned()),
            _ => None,
        }));
    }
    let unique: BTreeSet<&str> = written.iter().map(String::as_str).collect();
    assert_eq!(unique.len(), written.len(), "a sentence stands twice");
    let keys: BTreeSet<&str> = Key::ALL.iter().map(|key| key.id()).collect();
    assert_eq!(keys, unique);
}

/// The names of the places to fill in the sentence called `id`.
fn places(id: &str) -> BTreeSet<&'static str> {
    let mut found = BTreeSet::new();
    for text in FILES {
        let lines = text.lines().skip_while(|line| !line.starts_with(&format!("{id} =")));
        // A sentence goes on in the lines that are indented or close a brace.
        let own = lines
            .enumerate()
            .take_while(|(place, line)| *place == 0 || line.starts_with([' ', '}']));
        for (_, line) in own {
            let names = line.split('$').skip(1);
            found.extend(names.filter_map(|name| name.split(|c: char| !c.is_ascii_lowercase()).next()));
        }
    }
    found
}

#[test]
fn every_sentence_is_whole_when_its_places_are_filled() {
    let words = Words::english();
    assert_eq!(
        places("problem-file-rate"),
        BTreeSet::from(["file", "rate", "min", "max"])
    );
    for key in Key::ALL {
        let places = places(key.id());
        for filling in [Arg::from(1_u32), Arg::from(2_u32), Arg::from(12_u32), Arg::from("C4")] {
            let args: Vec<(&str, Arg)> = places.iter().map(|&place| (place, filling.clone())).collect();
            let sentence = words.say(*key, &args);
            assert!(!sentence.is_empty() && sentence != key.id(), "{key:?}");
            // A brace is a place left open; the marks isolate text of another direction, and terminals show them.
            let stray = ['{', '}', '$', '\u{2068}', '\u{2069}', '\n'];
            assert!(!sentence.contains(stray), "{key:?}: {sentence}");
        }
    }
}

#[test]
fn no_sentence_blames_praises_or_shouts() {
    // Words that a harpist with a key in her hand has no use for.
    for text in FILES {
        let lower = text.to_lowercase();
        let sentences: String = lower
            .lines()
            .filter(|line| !line.starts_with('#'))
            .collect::<Vec<_>>()
            .join("\n");
        for avoided in [
            "!",
            "error",
            "failed",
            "calibrate",
            "device",
            "client",
            "deviation",
            "score",
            "please",
            "sorry",
        ] {
            assert!(!sentences.contains(avoided), "a sentence says “{avoided}”");
        }
    }
}

#[test]
fn strings_and_harps_are_told_in_words() {
    let words = Words::english();
    #[rustfmt::skip]
    let table = [
        (Standing::NotHeard,                "not heard yet"),
        (Standing::Off(Cents(-12.4)),       "12 cents flat"),
        (Standing::Off(Cents(3.0)),         "3 cents sharp"),
        (Standing::SetOnce(Cents(0.5)),     "set once"),
        (Standing::Holds(Cents(0.1)),       "holds"),
        (Standing::Moved(Cents(-5.0)),      "has moved, −5 cents"),
        (Standing::WillNotHold(Cents(8.0)), "will not hold"),
        (Standing::Missing,                 "missing"),
    ];
    for (standing, told) in table {
        assert_eq!(words.standing(standing), told);
    }
    assert_eq!(words.headline(0, 0, 0), "Nobody has joined yet");
    assert_eq!(words.headline(4, 0, 0), "All 4 harps are ready");
    assert_eq!(words.headline(2, 1, 0), "One harp is still tuning");
    assert_eq!(words.headline(0, 2, 1), "2 harps are still tuning, one cannot be heard");
    assert_eq!(words.time(Duration::from_secs(42)), "42 s");
    assert_eq!(words.time(Duration::from_secs(200)), "3 min");
}

/// 440 to 442 Hz is 7.8514 cents, computed from the definition of the cent.
#[test]
fn a_new_pitch_says_what_it_does_to_every_string() {
    let words = Words::english();
    let harp = harp_file::preset("pedal-47").expect("a preset");
    let before = Tuning::default();
    let after = Tuning {
        a4: "442".parse().expect("a pitch"),
        ..before
    };
    assert_eq!(
        words.consequence(&harp, &before, &after),
        "Every string is then 7.9 cents flat of the new pitch."
    );
    assert_eq!(
        words.consequence(&harp, &after, &before),
        "Every string is then 7.9 cents sharp of the new pitch."
    );
    assert_eq!(
        words.consequence(&harp, &before, &before),
        "Nothing changes for the strings."
    );
    let meantone = Tuning {
        temperament: Temperament::named(consort_proto::Scheme::QuarterCommaMeantone),
        ..before
    };
    assert_eq!(
        words.consequence(&harp, &before, &meantone),
        "Strings move by up to 13.7 cents."
    );
    assert_eq!(words.tuning(&after), "A = 442 · equal temperament · C major");
}

#[test]
fn every_refusal_says_what_to_do() {
    let words = Words::english();
    for refusal in [
        Refusal::NotInvited,
        Refusal::JoiningClosed,
        Refusal::Removed,
        Refusal::Superseded,
        Refusal::Full,
        Refusal::Misspoke,
        Refusal::WrongCode,
        Refusal::Resting {
            left: Duration::from_secs(30),
        },
        Refusal::NotNow,
        Refusal::Asked,
        Refusal::Declined,
        Refusal::Copied,
        Refusal::SeatTaken,
    ] {
        let sentence = words.refusal(refusal);
        assert!(sentence.contains(". ") && sentence.ends_with('.'), "{sentence}");
    }
}

#[test]
fn a_missing_argument_is_seen_and_does_not_stop_the_program() {
    let words = Words::english();
    assert!(words.say(Key::WhyFlat, &[]).contains("cents flat"));
    assert!(words.say(Key::WhyFlat, &[]).contains("{$cents}"));
    assert_eq!(words.say(Key::WhyFlat, &[("cents", Arg::from("3"))]), "3 cents flat.");
}
