//! What is said of what a person wrote down: in words, what was taken back, and what to mind now.

use consort_record::settling::{Settling, settling};
use consort_record::telling::string_name;
use consort_record::{Date, Deed, Event, Fitting, Moment, Pins, Sheet, Spoilt};
use consort_record_store::{Entry, RecordError, Undone};
use consort_words::{Arg, Key, Words};

use super::{Form, Read, shelf};

/// Days in which a harp comes to rest after something was done to it (common practice, no source).
const RESTS_DAYS: i32 = 7;

/// What to do with a string that was put on lately, until it holds; nothing for one that is older.
pub(super) fn bring_up(fitting: &Fitting, sheet: &Sheet, today: Date) -> Vec<String> {
    let Some(Settling { holds, .. }) = Settling::of(fitting, today) else {
        return Vec::new();
    };
    let words = Words::english();
    let string = ("string", Arg::from(string_name(fitting.string, sheet)));
    vec![
        words.say(Key::FittedSteps, std::slice::from_ref(&string)),
        words.say(Key::FittedThen, &[string, ("date", Arg::from(holds.to_string()))]),
    ]
}

/// That a length was marked as bad, since the string that was replaced came from it.
pub(super) fn bad_length(spoilt: &Spoilt) -> String {
    let name = ("name", Arg::from(spoilt.length.as_str()));
    Words::english().say(Key::ShelfSetAside, &[name])
}

/// When each string that was put on lately is to be looked at again, and by when it should hold.
pub(super) fn coming(read: &Read) -> Vec<String> {
    let told = settling(&read.life, read.today).into_iter().map(|one| {
        let args = [
            ("string", Arg::from(string_name(one.string, &read.life.sheet))),
            ("date", Arg::from(one.on.to_string())),
            ("again", Arg::from(one.again.to_string())),
            ("holds", Arg::from(one.holds.to_string())),
        ];
        read.words.say(Key::FittedComing, &args)
    });
    told.collect()
}

/// What to mind after something that was done lately; nothing after what is long past.
pub(super) fn advice(event: &Event, sheet: &Sheet, today: Date) -> Vec<String> {
    if today.days_since(event.on) > RESTS_DAYS {
        return Vec::new();
    }
    let key = match (event.deed, sheet.pins) {
        (Deed::Moved, _) => Key::DidMoved,
        (Deed::Restrung, _) => Key::DidRestrung,
        (Deed::PinPushed(_), Pins::Tapered) => Key::DidPinPushed,
        (Deed::PinPushed(_), Pins::Threaded) => Key::DidPinPushedThreaded,
        (Deed::Broke(_), _) => Key::DidBroke,
        (Deed::Regulated | Deed::Remark(_), _) => return Vec::new(),
    };
    vec![Words::english().say(key, &[])]
}

/// That the room is again what had been noted for `at`, before a figure there was replaced.
pub(super) fn earlier_room(at: Moment) -> String {
    let words = Words::english();
    let what = words.say(Key::UndoneRoomEarlier, &[("date", Arg::from(at.to_string()))]);
    words.say(Key::UndoneTakenOut, &[("what", Arg::from(what))])
}

/// What was taken back, in the form that was asked for.
pub(super) fn said(undone: &Undone, sheet: &Sheet, form: Form) -> Result<String, RecordError> {
    match form {
        Form::Json => undone.json(),
        Form::Text | Form::Csv => Ok(undone_in_words(undone, sheet)),
    }
}

/// What was taken back, as a person reads it.
fn undone_in_words(undone: &Undone, sheet: &Sheet) -> String {
    let words = Words::english();
    let of_entry = |entry: &Entry| in_words(entry, sheet, &words);
    let date = |day: Date| ("date", Arg::from(day.to_string()));
    let (key, what) = match undone {
        Undone::Written(entry) => (Key::UndoneWritten, of_entry(entry)),
        Undone::TakenOut(entry) => (Key::UndoneTakenOut, of_entry(entry)),
        Undone::Room(climate) => {
            let at = ("date", Arg::from(climate.at.to_string()));
            (Key::UndoneWritten, words.say(Key::UndoneRoom, &[at]))
        }
        Undone::Sheet(before) => {
            let letters = match before.allowed.to_string() {
                none if none.is_empty() => "none".to_owned(),
                some => some,
            };
            let mut places = vec![
                ("pins", Arg::from(before.pins.word())),
                ("player", Arg::from(before.player.word())),
                ("days", Arg::from(u32::from(before.concert_days))),
                ("letters", Arg::from(letters)),
            ];
            places.extend(before.made.map(date));
            let key = if before.made.is_some() {
                Key::UndoneSheetMade
            } else {
                Key::UndoneSheet
            };
            (Key::UndoneTakenOut, words.say(key, &places))
        }
    };
    words.say(key, &[("what", Arg::from(what))])
}

/// An entry, as a person reads it.
pub(super) fn in_words(entry: &Entry, sheet: &Sheet, words: &Words) -> String {
    let date = |day: Date| ("date", Arg::from(day.to_string()));
    let named = |string| ("string", Arg::from(string_name(string, sheet)));
    match entry {
        Entry::Fitting(fitting) => {
            let what = words.say(Key::UndoneFitting, &[named(fitting.string), date(fitting.on)]);
            detailed(fitting, sheet, words, what)
        }
        Entry::Event(event) => noted(
            &event.note,
            words,
            match event.deed {
                Deed::Restrung => words.say(Key::UndoneRestrung, &[date(event.on)]),
                Deed::Moved => words.say(Key::UndoneMoved, &[date(event.on)]),
                Deed::Regulated => words.say(Key::UndoneRegulated, &[date(event.on)]),
                Deed::PinPushed(string) => words.say(Key::UndonePinPushed, &[named(string), date(event.on)]),
                Deed::Broke(string) => words.say(Key::UndoneBroke, &[named(string), date(event.on)]),
                Deed::Remark(Some(string)) => words.say(Key::UndoneRemarkString, &[named(string), date(event.on)]),
                Deed::Remark(None) => words.say(Key::UndoneRemark, &[date(event.on)]),
            },
        ),
        Entry::Concert(concert) => {
            let name = ("name", Arg::from(concert.name.as_str()));
            words.say(Key::UndoneConcert, &[name, date(concert.on)])
        }
        Entry::Length(length) => {
            let name = ("name", Arg::from(length.name.as_str()));
            words.say(Key::UndoneLength, &[name, named(length.string)])
        }
        Entry::Spoilt(spoilt) => {
            let name = ("name", Arg::from(spoilt.length.as_str()));
            noted(
                &spoilt.note,
                words,
                words.say(Key::UndoneSpoilt, &[name, date(spoilt.on)]),
            )
        }
    }
}

/// `what` with all that tells this string from another that was put on in its place on the same day.
fn detailed(fitting: &Fitting, sheet: &Sheet, words: &Words, what: String) -> String {
    let usual = sheet.harp.string(fitting.string).map(|string| string.material);
    let material = (usual != Some(fitting.material)).then(|| shelf::word(fitting.material).to_owned());
    let gauge = fitting.gauge_mm.map(|gauge| format!("{gauge} mm"));
    let length = fitting.length.as_deref().map(|name| {
        let name = ("name", Arg::from(name));
        words.say(Key::UndoneFittingLength, &[name])
    });
    let details: Vec<String> = [material, gauge, length].into_iter().flatten().collect();
    if details.is_empty() {
        return what;
    }
    let details = ("details", Arg::from(details.join(", ")));
    words.say(Key::UndoneFittingOf, &[("what", Arg::from(what)), details])
}

/// `what` with her own words, if there are any.
fn noted(note: &str, words: &Words, what: String) -> String {
    if note.is_empty() {
        return what;
    }
    words.say(
        Key::UndoneNoted,
        &[("what", Arg::from(what)), ("note", Arg::from(note))],
    )
}
