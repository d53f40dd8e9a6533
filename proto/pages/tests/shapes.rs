//! What the pages are told: finished sentences, and nothing shown as ready that may no longer be.

use std::time::Duration;

use consort_outlook::{Forecast, Outlook, Remains};
use consort_pages::{
    BoardPage, CheapestPitch, ControlPage, DeskString, Links, NotAProposal, Presence, Proposal, Qr, SeatImage,
    SessionImage, StringInHand, remaining,
};
use consort_proto::harp_file::preset;
use consort_proto::{
    Agreement, Cents, Fingerprint, Harp, Mark, Material, Name, Naming, Note, Readiness, Reading, ReferencePitch,
    Revision, RoomMove, Round, SessionId, Standing, StringNumber, StringStory, Tolerance, Tuning,
};
use consort_words::Words;

fn agreement() -> Agreement {
    Agreement {
        session: SessionId([1; 16]),
        revision: Revision(7),
        ensemble: "Alder Row Harps".parse().expect("a name"),
        tuning: Tuning::default(),
        tolerance: Tolerance::default(),
        round: Round(2),
        called: None,
    }
}

/// Every string of `harp` heard so far off, twice.
fn heard(harp: &Harp, cents: f64) -> Vec<StringStory> {
    let story = |(number, string): (StringNumber, &consort_proto::HarpString)| {
        let hz = Tuning::default().open_target(string).raised_by(Cents(cents));
        let reading = Reading::new(number, hz, Cents(0.1)).expect("a reading");
        let mut story = StringStory::default();
        story.hear(reading);
        story.hear(reading);
        story
    };
    harp.numbered().map(story).collect()
}

struct Seat {
    name: Name,
    harp: Harp,
    readiness: Readiness,
    presence: Presence,
    removed: bool,
}

fn seat(name: &str, cents: Option<f64>, presence: Presence) -> Seat {
    let harp = preset("lever-22").expect("a preset");
    let stories = cents.map_or_else(Vec::new, |cents| heard(&harp, cents));
    let Agreement { tuning, tolerance, .. } = agreement();
    Seat {
        name: name.parse().expect("a name"),
        readiness: Readiness::judge(&harp, &stories, &tuning, &tolerance),
        harp,
        presence,
        removed: false,
    }
}

fn image<'a>(agreement: &'a Agreement, seats: &'a [Seat]) -> SessionImage<'a> {
    let seat = |(seat, number): (&'a Seat, u32)| SeatImage {
        presence: seat.presence,
        removed: seat.removed,
        ..SeatImage::of(number, &seat.name, &seat.harp, &seat.readiness)
    };
    SessionImage {
        start_in: Some(Duration::from_secs(540)),
        can_undo: true,
        ..SessionImage::of(agreement, seats.iter().zip(1..).map(seat).collect())
    }
}

#[test]
fn a_harp_is_shown_ready_only_while_it_is_heard() {
    let silent = Presence::Silent(Duration::from_secs(200));
    #[rustfmt::skip]
    let table = [
        // off     presence          state      says                presence says
        (Some(0.0), Presence::Here,   "ready",   "ready",            None),
        (Some(0.0), Presence::Unsure, "ready",   "ready",            Some("no word for a moment")),
        (Some(0.0), silent,           "unheard", "last reported as “ready”",            Some("silent 3 min")),
        (Some(0.0), Presence::Away,   "unheard", "last reported as “ready”",            Some("no link")),
        (Some(9.0), Presence::Here,   "tuning",  "nothing set yet",  None),
        (None,      Presence::Here,   "tuning",  "nothing set yet",  None),
    ];
    let agreement = agreement();
    for (cents, presence, state, says, presence_says) in table {
        let seats = [seat("Maris", cents, presence)];
        let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
        let harp = &board.harps[0];
        assert_eq!((harp.state, harp.says.as_str()), (state, says), "{presence:?}");
        assert_eq!(harp.presence_says.as_deref(), presence_says, "{presence:?}");
        let ready = if state == "ready" {
            "1 of 1 ready"
        } else {
            "0 of 1 ready"
        };
        assert_eq!(board.count.as_deref(), Some(ready), "{presence:?}");
    }
}

/// Both harps are ready, and yet 3.5 cents apart.
#[test]
fn the_string_that_beats_most_is_named_once_every_harp_is_ready() {
    let agreement = agreement();
    let told = |cents: Option<f64>| {
        let seats = [
            seat("Maris", Some(1.8), Presence::Here),
            seat("Ruben", cents, Presence::Here),
        ];
        let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
        board.together.and_then(|together| together.who).unwrap_or_default()
    };
    let says = told(Some(-1.7));
    assert!(says.contains(" of seat 1 stands +4 cents from the others: "), "{says}");
    assert!(says.contains(" beats a second."), "{says}");
    assert!(!told(Some(1.0)).contains("beats"), "within the tolerance");
    assert!(!told(Some(-9.0)).contains("beats"), "one of them still tunes");
}

#[test]
fn a_called_string_shows_only_what_was_plucked_since() {
    let mut agreement = agreement();
    agreement.called = Some(Note::from_harp_name("4C").expect("a note"));
    let seats = [1.5, -3.0, 9.0].map(|cents| seat("Maris", Some(cents), Presence::Here));
    let mut image = image(&agreement, &seats);
    #[rustfmt::skip]
    let table = [
        // whether each has answered             what is said                        what is drawn
        ([None, None, None],                     "4C: 3 harps, 12.0 cents apart", [Some(1.5), Some(-3.0), Some(9.0)]),
        ([Some(true), Some(true), Some(false)],  "4C: 2 harps, 4.5 cents apart",  [Some(1.5), Some(-3.0), None]),
        ([Some(false), Some(false), Some(true)], "Everyone plays 4C",             [None, None, Some(9.0)]),
    ];
    for (answered, says, drawn) in table {
        for (seat, answered) in image.seats.iter_mut().zip(answered) {
            seat.answered = answered;
        }
        let called = BoardPage::of(&image, &Words::english()).called.expect("one is called");
        let cents: Vec<_> = called.harps.iter().map(|harp| harp.cents).collect();
        assert_eq!((called.says.as_str(), cents), (says, drawn.to_vec()), "{answered:?}");
    }
}

/// The same harp, all strings 20 cents flat, with what is foretold of it in three minutes: so many strings done.
fn foretold(seat: &Seat, done: usize) -> Outlook {
    let mut standings = seat.readiness.standings().to_vec();
    standings[..done].fill(Standing::Holds(Cents(0.0)));
    let likely = Duration::from_secs(if done == standings.len() { 170 } else { 400 });
    Outlook {
        forecast: Some(Forecast {
            soonest: likely,
            likely,
            latest: likely,
        }),
        soon: Some(Remains::of(&seat.harp, &Readiness::judged(standings))),
        ..Outlook::default()
    }
}

#[test]
fn what_would_remain_now_and_in_three_minutes_is_said_by_register() {
    let agreement = agreement();
    let now = "If it began now: 44 strings further off than 5 cents (low 8, middle 20, high 16).";
    #[rustfmt::skip]
    let table = [
        // done by the first and the second in three minutes, whether the second is heard, what is said
        (Some(22), Some(22), Presence::Here, "In 3 minutes: 2 of 2 ready, no string further off than 5 cents."),
        (Some(22), Some(20), Presence::Here, "In 3 minutes: 1 of 2 ready, 2 strings further off than 5 cents (low 2)."),
        (Some(21), Some(20), Presence::Away, "In 3 minutes: 0 of 2 ready, 23 strings further off than 5 cents (low 5, middle 10, high 8). One harp counts as it is now: nothing can be foretold of it."),
        (Some(22), None,     Presence::Here, "In 3 minutes: 1 of 2 ready, 22 strings further off than 5 cents (low 4, middle 10, high 8). One harp counts as it is now: nothing can be foretold of it."),
        (None,     None,     Presence::Here, ""),
    ];
    for (first, second, presence, says) in table {
        let seats = [
            seat("Maris", Some(-20.0), Presence::Here),
            seat("Ruben", Some(-20.0), presence),
        ];
        let mut image = image(&agreement, &seats);
        for ((shown, seat), done) in image.seats.iter_mut().zip(&seats).zip([first, second]) {
            shown.outlook = done.map_or_else(Outlook::default, |done| foretold(seat, done));
        }
        let moments = remaining(&image);
        let told: Vec<String> = moments.iter().map(|moment| moment.says(&Words::english())).collect();
        assert_eq!(told[0], now, "{first:?} {second:?}");
        assert_eq!(told[1..].concat(), says, "{first:?} {second:?}");
        // The board draws the same numbers: registers from the bass up, strings not heard, harps that are ready.
        let table = BoardPage::of(&image, &Words::english()).remains.expect("a table");
        assert_eq!(table.rows.len(), told.len());
        assert_eq!(table.rows[0].cells, [0, 8, 20, 16, 0, 0, 0]);
        let [.., ready] = table.rows.last().expect("a row").cells[..] else {
            panic!("no cells")
        };
        assert_eq!(Some(ready), moments.last().map(|moment| moment.ready));
    }
    let ready = [seat("Maris", Some(0.0), Presence::Here)];
    assert_eq!(remaining(&image(&agreement, &ready)), [], "nobody is left to tune");
    assert_eq!(
        BoardPage::of(&image(&agreement, &ready), &Words::english()).remains,
        None
    );
}

#[test]
fn the_board_says_the_session_in_finished_sentences() {
    let agreement = agreement();
    let mut seats = vec![
        seat("Maris", Some(0.0), Presence::Here),
        seat("Ruben", Some(-20.0), Presence::Here),
        seat("Calla", None, Presence::Away),
        seat("Jonne", None, Presence::Here),
    ];
    seats[3].removed = true;
    let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
    assert_eq!(board.headline, "One harp is still tuning, one cannot be heard");
    assert_eq!(
        board.sentence,
        "One harp is still tuning, one cannot be heard, starts in 9 min."
    );
    assert_eq!(board.agreement, "A = 440 · equal temperament · C major");
    assert_eq!((board.round.as_str(), board.revision), ("round 2", 7));
    // Who was turned away is no longer on the board.
    assert_eq!(board.harps.len(), 3);
    assert_eq!(
        board.harps[2].sentence,
        "Seat 3, Calla: last reported as “nothing set yet”, no link."
    );
    assert_eq!(board.harps[0].strings_say, "22 strings hold.");
    assert!(
        board.harps[1].strings_say.starts_with("22 strings off: "),
        "{}",
        board.harps[1].strings_say
    );
    let empty = BoardPage::of(&image(&agreement, &[]), &Words::english());
    assert_eq!((empty.headline.as_str(), empty.count), ("Nobody has joined yet", None));
    let left = BoardPage::of(&image(&agreement, &seats[3..]), &Words::english());
    assert_eq!(
        left.headline, "Nobody is in the session now",
        "the only one was turned away"
    );
}

#[test]
fn strings_travel_as_name_standing_and_tenths_of_a_cent() {
    let agreement = agreement();
    let seats = [seat("Ruben", Some(-20.04), Presence::Here)];
    let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
    let json = serde_json::to_value(&board.harps[0].strings[0]).expect("JSON");
    let name = seats[0].harp.strings()[0].open.harp_name();
    assert_eq!(json, serde_json::json!([name, "off", -20.0]));
}

/// Thirty harps on weak Wi-Fi: at five pictures a second a phone gets under a quarter of a megabyte each second.
#[test]
fn a_picture_of_thirty_concert_harps_stays_small() {
    let agreement = agreement();
    let harp = preset("pedal-47").expect("a preset");
    let readiness = Readiness::judge(&harp, &heard(&harp, -20.0), &agreement.tuning, &agreement.tolerance);
    let seats: Vec<Seat> = (0..30)
        .map(|_| Seat {
            name: "Anselm of the long name".parse().expect("a name"),
            harp: harp.clone(),
            readiness: readiness.clone(),
            presence: Presence::Here,
            removed: false,
        })
        .collect();
    let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
    let length = serde_json::to_string(&board).expect("JSON").len();
    assert!(length < 50_000, "{length} bytes");
}

#[test]
fn set_aside_strings_are_named_with_what_they_are() {
    let agreement = agreement();
    let mut seats = [seat("Ilka", None, Presence::Here)];
    let mut stories = heard(&seats[0].harp, 0.0);
    stories[0].set_mark(Some(Mark::New));
    stories[4].set_mark(Some(Mark::Missing));
    seats[0].readiness = Readiness::judge(&seats[0].harp, &stories, &agreement.tuning, &agreement.tolerance);
    let board = BoardPage::of(&image(&agreement, &seats), &Words::english());
    let name = |index: usize| seats[0].harp.strings()[index].open.harp_name();
    let harp = &board.harps[0];
    assert_eq!(harp.aside, [format!("{} new", name(0)), format!("{} missing", name(4))]);
    assert_eq!((harp.state, harp.left, harp.holds), ("ready", 0, 20));
    assert_eq!(harp.says, format!("ready but for {}, {}", name(0), name(4)));
}

#[test]
fn the_control_offers_every_temperament_and_key_as_orders_carry_them() {
    let agreement = agreement();
    let links = Links::new(
        "127.0.0.1".to_owned(),
        "kq3x7d2n".to_owned(),
        "consort://a/b/c".to_owned(),
        "http://127.0.0.1:1/x/".to_owned(),
    );
    let seats = [
        seat("Maris", Some(0.0), Presence::Here),
        seat("Ruben", None, Presence::Away),
    ];
    let control = ControlPage::of(&image(&agreement, &seats), &links, &Words::english());
    assert_eq!((control.temperament, control.setting.as_str()), ("equal", "C"));
    assert_eq!((control.temperaments.len(), control.settings.len()), (13, 15));
    for choice in &control.temperaments {
        let proposal = Proposal {
            temperament: Some(choice.word.to_owned()),
            ..Proposal::default()
        };
        let tuning = proposal.tuning(&agreement.tuning).expect(choice.word);
        assert_eq!(Words::english().temperament(&tuning.temperament), choice.name);
        assert_eq!(choice.offsets[9], 0.0, "{}: A is kept", choice.word);
    }
    for choice in &control.settings {
        for text in [&choice.key, &choice.pedals] {
            let proposal = Proposal {
                setting: Some(text.clone()),
                ..Proposal::default()
            };
            let tuning = proposal.tuning(&agreement.tuning).expect("a setting");
            assert_eq!(Words::english().setting(tuning.setting), choice.name, "{text}");
        }
    }
    assert_eq!(control.heard, 1);
    assert!(!control.joining && control.joining_says.starts_with("Joining is closed"));
    assert_eq!(control.stations[1].station.parse(), Ok(Fingerprint([2; 32])));
}

/// 440 to 442 Hz is 7.8514 cents, computed from the definition of the cent; 440 to 440.2 Hz is 0.7867.
#[test]
fn a_proposal_says_what_it_does_before_it_is_sent() {
    let agreement = agreement();
    let seats = [
        seat("Maris", Some(0.0), Presence::Here),
        seat("Ruben", Some(-20.0), Presence::Here),
    ];
    let session = image(&agreement, &seats);
    let says = |proposal: Proposal| proposal.consequence(&session, &Words::english());
    let pitch = |hz| Proposal {
        hz: Some(hz),
        ..Proposal::default()
    };
    let consequence = says(pitch(442.0)).expect("a consequence");
    assert_eq!(consequence.agreement, "A = 442 · equal temperament · C major");
    assert_eq!(
        consequence.says,
        "Every string is then 7.9 cents flat of the new pitch. 22 strings that are set would be out of tune. \
         One ready harp goes back to tuning: Maris."
    );
    // Within the tolerance of 2 cents nobody goes back.
    assert_eq!(
        says(pitch(440.2)).expect("a consequence").says,
        "Every string is then 0.8 cents flat of the new pitch."
    );
    assert_eq!(
        says(Proposal::default()).expect("a consequence").says,
        "Nothing changes for the strings."
    );
    assert!(matches!(says(pitch(4400.0)), Err(NotAProposal::Pitch(_))));
    for text in ["loud", "", "1 2 3", "0 0 0 0 0 0 0 0 0 0 0 200"] {
        let proposal = Proposal {
            temperament: Some(text.to_owned()),
            ..Proposal::default()
        };
        assert!(says(proposal).is_err(), "{text}");
    }
    let own = Proposal {
        temperament: Some("6, 0, 2; 4 −2 8 −2 4 2 0 6 −4".to_owned()),
        ..Proposal::default()
    };
    assert!(says(own).expect("a consequence").agreement.contains("own temperament"));
    let setting = Proposal {
        setting: Some("H".to_owned()),
        ..Proposal::default()
    };
    assert!(matches!(says(setting), Err(NotAProposal::Setting(_))));
}

#[test]
fn a_proposal_with_anything_else_in_it_is_none() {
    for text in [r#"{"a4":442}"#, r#"{"hz":"442"}"#, r#"{"hz":442,"start":1}"#, "442"] {
        assert!(serde_json::from_str::<Proposal>(text).is_err(), "{text}");
    }
    let proposal: Proposal = serde_json::from_str(r#"{"hz":442}"#).expect("a proposal");
    assert_eq!(proposal.hz, Some(442.0));
}

/// ISO/IEC 18004: every code has in three corners a dark square of 7 by 7 with a light ring in it, so its first row
/// starts with seven dark squares and one light one.
#[test]
fn a_qr_code_is_drawn_row_by_row() {
    let qr = Qr::of("http://192.0.2.20:4701/3f9a61c0d2b84e57/").expect("a code");
    assert!(qr.side >= 21 && (qr.side - 17).is_multiple_of(4), "{}", qr.side);
    assert!(qr.path.starts_with("M0 0h7v1h-7zM"), "{}", &qr.path[..20]);
    assert!(qr.path.contains("M0 1h1v1h-1zM6 1h1v1h-1z"));
    assert!(qr.path.chars().all(|c| c.is_ascii_digit() || "Mhvz -".contains(c)));
    assert_eq!(Qr::of(&"x".repeat(4000)), None);
}

#[test]
fn the_desk_hides_the_bow_in_doubt_and_never_shows_minus_nothing() {
    let harp = preset("pedal-47").expect("a preset");
    let number = StringNumber::new(26).expect("a string");
    let string = harp.string(number).expect("middle C");
    let doubt = StringInHand::of(
        number,
        string,
        Standing::Off(Cents(-130.0)),
        None,
        Cents(2.0),
        Naming::Harp,
    );
    assert_eq!((doubt.name.as_str(), doubt.cents, doubt.standing), ("4C", None, "off"));
    let near = StringInHand::of(
        number,
        string,
        Standing::Holds(Cents(0.0)),
        Some(Cents(-0.04)),
        Cents(2.0),
        Naming::Harp,
    );
    assert!(near.cents.is_some_and(|cents| cents == 0.0 && cents.is_sign_positive()));
    let row = DeskString::of(
        number,
        string,
        Standing::Moved(Cents(-5.26)),
        &Tuning::default(),
        Naming::Scientific,
        &Words::english(),
    );
    assert_eq!((row.letter.as_str(), row.cents), ("C", Some(-5.3)));
    assert_eq!(row.says, "has moved, −5 cents");
}

#[test]
fn the_room_the_cheapest_pitch_and_how_old_a_report_is_are_on_board_and_control() {
    let agreement = agreement();
    let seats = [
        seat("Maris", Some(0.0), Presence::Here),
        seat("Ruben", Some(-20.0), Presence::Here),
    ];
    let mut image = image(&agreement, &seats);
    image.seats[0].age.confirmed = Some(Duration::from_secs(900));
    image.seats[1].age.to_confirm = Some(Duration::from_secs(1_800));
    image.seats[1].overhears = Some(1);
    image.room = vec![RoomMove {
        material: Material::Gut,
        cents: Cents(-4.24),
        harps: 9,
        of: 12,
        since: Duration::from_secs(1_200),
    }];
    image.cheapest = Some(CheapestPitch {
        a4: ReferencePitch::new(439.5).expect("in reach"),
        strings: 30,
        takes: Duration::from_secs(200),
    });
    let links = Links::new(String::new(), String::new(), String::new(), String::new());
    let control = ControlPage::of(&image, &links, &Words::english());
    let board = &control.board;
    assert_eq!(board.harps[0].says, "ready, last confirmed 15 min ago");
    assert_eq!(
        board.harps[0].sentence_by_seat,
        "Seat 1: ready, last confirmed 15 min ago."
    );
    assert_eq!(
        board.harps[1].age.as_deref(),
        Some("was ready 30 min ago, to be confirmed")
    );
    assert!(
        board.room[0].contains("fell by 4.2 cents on 9 of 12 harps in 20 min"),
        "{:?}",
        board.room
    );
    let hand = board
        .hands
        .iter()
        .find(|hand| hand.kind == "overhears")
        .expect("a hand");
    assert_eq!((hand.seat, hand.what.as_str()), (2, "seems to hear the harp of seat 1"));
    let cheapest = control.cheapest.expect("another pitch");
    assert!(
        cheapest.hz == 439.5 && cheapest.says.contains("30 strings to turn"),
        "{cheapest:?}"
    );
    // What is agreed already is no news.
    image.cheapest = image.cheapest.map(|cheapest| CheapestPitch {
        a4: agreement.tuning.a4,
        ..cheapest
    });
    assert_eq!(ControlPage::of(&image, &links, &Words::english()).cheapest, None);
    image.seats[0].age.confirmed = Some(Duration::from_secs(300));
    assert_eq!(
        BoardPage::of(&image, &Words::english()).harps[0].says,
        "ready",
        "a fresh one is not told"
    );
}
