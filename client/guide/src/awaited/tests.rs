//! What counts of what is plucked.

use consort_proto::Cents;

use super::*;

mod music;
mod strong;
mod whose;

const LEVEL: f64 = -20.0;

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// What counts once a pluck as loud as all others is taken in, which is awaited or not.
fn take<T>(awaited: &mut Awaited<T>, onset_s: f64, number: u32, is_awaited: bool, reading: T) -> Vec<T> {
    take_at(LEVEL, awaited, onset_s, number, is_awaited, reading)
}

fn take_at<T>(
    level_dbfs: f64,
    awaited: &mut Awaited<T>,
    onset_s: f64,
    number: u32,
    is_awaited: bool,
    reading: T,
) -> Vec<T> {
    let plucked = Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs,
        whole_dbfs: level_dbfs,
        stiffness: 0.0,
    };
    match awaited.take(plucked, wanted(number, is_awaited), reading) {
        Taken::Counts(readings) => readings,
        Taken::Waits | Taken::Strong | Taken::TooSoft | Taken::NotHers => Vec::new(),
    }
}

fn wanted(number: u32, is_awaited: bool) -> Wanted {
    if is_awaited {
        Wanted::Near(string(number))
    } else {
        Wanted::Nothing
    }
}

/// Whether a pluck that is no reading counts, as loud as all others.
fn heeds<T>(awaited: &mut Awaited<T>, onset_s: f64, number: u32, wanted: Wanted) -> bool {
    let plucked = Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs: LEVEL,
        whole_dbfs: LEVEL,
        stiffness: 0.0,
    };
    awaited.heeds(&plucked, wanted, false) == Heeded::Yes
}

/// Plucks (seconds, string, whether it is awaited), and the onsets of the readings that count after each.
#[track_caller]
fn check(plucks: &[(f64, u32, bool, &[f64])]) {
    let mut awaited = Awaited::default();
    for &(onset_s, number, is_awaited, counts) in plucks {
        assert_eq!(
            take(&mut awaited, onset_s, number, is_awaited, onset_s),
            counts,
            "at {onset_s} s"
        );
    }
}

#[test]
fn a_string_that_is_awaited_counts_at_once_and_so_does_it_while_it_is_in_hand() {
    check(&[
        (0.0, 20, true, &[0.0]),
        (1.0, 20, false, &[1.0]),
        (9.0, 20, false, &[9.0]),
    ]);
}

#[test]
fn any_other_string_counts_once_it_is_plucked_twice() {
    check(&[
        (0.0, 20, true, &[0.0]),
        (2.0, 31, false, &[]),
        (4.0, 31, false, &[2.0, 4.0]),
        (6.0, 31, false, &[6.0]),
    ]);
}

#[test]
fn after_a_rest_what_was_plucked_in_passing_is_forgotten() {
    let mut awaited = Awaited::default();
    for (onset_s, number) in [(0.0, 4), (0.9, 6), (1.2, 4)] {
        take(&mut awaited, onset_s, number, false, onset_s);
    }
    take(&mut awaited, 7.0, 4, false, 7.0);
    assert_eq!(awaited.stood_alone(9.5), [7.0]);
}

#[test]
fn what_is_plucked_between_or_much_later_leaves_it_waiting() {
    check(&[(0.0, 31, false, &[]), (1.0, 12, false, &[]), (2.0, 31, false, &[])]);
    check(&[(0.0, 31, false, &[]), (30.0, 31, false, &[])]);
    // What was awaited counts, and is between all the same.
    check(&[(0.0, 31, false, &[]), (1.0, 20, true, &[1.0]), (2.0, 31, false, &[])]);
}

#[test]
fn a_walk_from_string_to_string_counts_and_a_run_does_not() {
    check(&[
        (0.0, 20, true, &[0.0]),
        (0.9, 21, false, &[0.9]),
        (1.8, 22, false, &[1.8]),
    ]);
    check(&[(0.0, 20, true, &[0.0]), (0.5, 21, false, &[]), (1.0, 22, false, &[])]);
    check(&[(0.0, 20, true, &[0.0]), (0.9, 22, false, &[])]);
}

#[test]
fn after_a_few_strings_in_passing_a_string_that_is_awaited_is_passed_too() {
    check(&[
        (0.0, 31, false, &[]),
        (1.0, 12, false, &[]),
        (2.0, 20, true, &[]),
        // A melody can repeat a note, but hardly twice.
        (3.0, 20, true, &[]),
        (4.0, 20, true, &[2.0, 3.0, 4.0]),
        (5.0, 20, true, &[5.0]),
    ]);
    // After a rest the desk is heeded again.
    check(&[(0.0, 31, false, &[]), (1.0, 12, false, &[]), (6.0, 20, true, &[6.0])]);
    check(&[(0.0, 31, false, &[]), (1.0, 20, true, &[1.0])]);
}

#[test]
fn while_pedals_are_moved_a_string_that_is_awaited_may_be_another_one_raised() {
    let asked = Wanted::Near(string(20));
    let plucked = |onset_s, number| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs: LEVEL,
        whole_dbfs: LEVEL,
        stiffness: 0.0,
    };
    let take =
        |awaited: &mut Awaited<f64>, onset_s, number| match awaited.take(plucked(onset_s, number), asked, onset_s) {
            Taken::Counts(readings) => readings,
            _ => Vec::new(),
        };
    let elsewhere = |awaited: &mut Awaited<f64>, onset_s, number| {
        awaited.pluck(onset_s, string(number));
        awaited.stands_elsewhere(plucked(onset_s, number), asked);
    };
    let mut awaited = Awaited::default();
    elsewhere(&mut awaited, 0.0, 31);
    assert_eq!(take(&mut awaited, 3.0, 20), [3.0], "one string may have slipped");
    elsewhere(&mut awaited, 5.0, 31);
    elsewhere(&mut awaited, 6.0, 28);
    assert!(take(&mut awaited, 8.0, 20).is_empty());
    assert!(take(&mut awaited, 10.0, 20).is_empty());
    assert_eq!(
        take(&mut awaited, 12.0, 20),
        [8.0, 10.0, 12.0],
        "plucked again and again, it is meant"
    );
    elsewhere(&mut awaited, 20.0, 31);
    elsewhere(&mut awaited, 22.0, 28);
    assert_eq!(take(&mut awaited, 43.0, 20), [43.0], "more than twenty seconds later");
    // What waits when that shows is plucked once more as well.
    let mut awaited = Awaited::default();
    assert!(take(&mut awaited, 0.0, 24).is_empty());
    for (onset_s, number) in [(0.4, 31), (0.8, 28)] {
        elsewhere(&mut awaited, onset_s, number);
        awaited.pass_by(onset_s);
    }
    assert!(take(&mut awaited, 2.0, 24).is_empty());
    assert_eq!(take(&mut awaited, 4.0, 24), [0.0, 2.0, 4.0]);
    // The string that is asked for may be that far off, and so may the one under the key.
    for off in [19, 20, 21] {
        let mut awaited = Awaited::default();
        elsewhere(&mut awaited, 0.0, off);
        elsewhere(&mut awaited, 1.0, 31);
        assert_eq!(take(&mut awaited, 2.0, 20), [2.0]);
    }
    // One beside it that stood a semitone or a whole tone from there when it counted is another one, which a pedal moved.
    for (moved, counts) in [(100.0, false), (-195.0, false), (-150.0, true)] {
        let mut awaited = Awaited::default();
        awaited.take(plucked(0.0, 21), Wanted::Near(string(21)), 0.0);
        let stands = Plucked {
            apart: Cents(-4.0 + moved),
            ..plucked(12.0, 21)
        };
        awaited.stands_elsewhere(stands, asked);
        elsewhere(&mut awaited, 13.0, 31);
        let taken = take(&mut awaited, 14.0, 20);
        assert_eq!(!taken.is_empty(), counts, "{moved} cents away");
    }
}

#[test]
fn a_string_that_stands_alone_counts() {
    let mut awaited = Awaited::default();
    assert!(take(&mut awaited, 9.0, 31, false, 1).is_empty());
    assert_eq!(awaited.alone_at(), Some(11.5));
    assert!(awaited.stood_alone(11.4).is_empty());
    assert_eq!(awaited.stood_alone(11.5), [1]);
    assert_eq!(take(&mut awaited, 13.0, 31, false, 2), [2], "it is in hand");
    // Something before it, or after it.
    let mut awaited = Awaited::default();
    awaited.pluck(1.0, string(12));
    take(&mut awaited, 3.0, 31, false, 1);
    assert_eq!(awaited.alone_at(), None);
    awaited.begin_sound();
    take(&mut awaited, 3.0, 31, false, 1);
    awaited.pluck(5.0, string(12));
    assert!(awaited.stood_alone(f64::INFINITY).is_empty());
    assert_eq!(awaited.alone_at(), None);
    // What came later is no neighbour any more.
    awaited.begin_sound();
    take(&mut awaited, 3.0, 31, false, 1);
    awaited.pluck(6.0, string(12));
    assert_eq!(awaited.stood_alone(6.2), [1]);
}

#[test]
fn what_is_no_reading_counts_of_what_is_awaited_or_in_hand() {
    let mut awaited = Awaited::default();
    assert!(heeds(&mut awaited, 0.0, 20, wanted(20, true)));
    assert!(!heeds(&mut awaited, 0.0, 20, wanted(20, false)));
    assert_eq!(take(&mut awaited, 1.0, 31, true, 1), [1]);
    assert!(heeds(&mut awaited, 2.0, 31, wanted(31, false)));
    assert!(heeds(&mut awaited, 3.0, 32, wanted(32, false)));
    assert_eq!(
        take(&mut awaited, 4.0, 33, false, 1),
        [1],
        "a walk with a doubt on the way"
    );
    for (onset_s, number) in [(5.0, 12), (6.0, 40)] {
        take(&mut awaited, onset_s, number, false, 2);
    }
    assert!(!heeds(&mut awaited, 7.0, 20, wanted(20, true)), "in passing");
}

#[test]
fn three_strings_in_a_row_at_leisure_are_a_walk_wherever_it_begins() {
    check(&[
        (0.0, 1, false, &[]),
        (1.5, 2, false, &[]),
        (3.0, 3, false, &[0.0, 1.5, 3.0]),
        (4.5, 4, false, &[4.5]),
    ]);
    // To and fro, over a string, and too fast.
    check(&[
        (0.0, 5, false, &[]),
        (1.0, 6, false, &[]),
        (2.0, 5, false, &[]),
        (3.0, 6, false, &[]),
    ]);
    check(&[(0.0, 5, false, &[]), (1.0, 6, false, &[]), (2.0, 8, false, &[])]);
    check(&[(0.0, 5, false, &[]), (0.5, 6, false, &[]), (1.0, 7, false, &[])]);
}

#[test]
fn a_pluck_without_a_reading_is_between_as_well() {
    let mut awaited = Awaited::default();
    assert!(take(&mut awaited, 0.0, 31, false, 1).is_empty());
    awaited.pluck(1.0, string(12));
    assert!(take(&mut awaited, 2.0, 31, false, 2).is_empty());
    // The answer to a pluck can change as it unfolds.
    awaited.pluck(3.0, string(12));
    awaited.pluck(3.0, string(31));
    assert_eq!(take(&mut awaited, 4.0, 31, false, 3), [2, 3]);
}

#[test]
fn who_stops_a_walk_at_a_string_means_that_one() {
    check(&[
        (0.0, 1, false, &[]),
        (1.5, 2, false, &[]),
        (3.0, 2, false, &[]),
        (4.5, 2, false, &[1.5, 3.0, 4.5]),
    ]);
}

#[test]
fn the_pin_beside_the_one_that_is_asked_for_may_be_under_the_key() {
    let for_string = |number| Wanted::Near(string(20)).is_for(string(number));
    assert_eq!([18, 19, 20, 21, 22].map(for_string), [false, true, true, true, false]);
}
