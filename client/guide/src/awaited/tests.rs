use consort_proto::Cents;

use super::*;

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
        level_dbfs,
        stiffness: 0.0,
    };
    match awaited.take(plucked, wanted(number, is_awaited), reading) {
        Taken::Counts(readings) => readings,
        Taken::Waits | Taken::TooSoft | Taken::NotHers => Vec::new(),
    }
}

fn wanted(number: u32, is_awaited: bool) -> Wanted {
    if is_awaited {
        Wanted::Near(string(number))
    } else {
        Wanted::Nothing
    }
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
        level_dbfs: LEVEL,
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
    // The string that is asked for may be that far off, and so may the one under the key.
    for off in [19, 20, 21] {
        let mut awaited = Awaited::default();
        elsewhere(&mut awaited, 0.0, off);
        elsewhere(&mut awaited, 1.0, 31);
        assert_eq!(take(&mut awaited, 2.0, 20), [2.0]);
    }
}

#[test]
fn another_harp_whose_pedals_are_moved_says_nothing_of_hers() {
    let mut awaited = Awaited::default();
    for (at_s, number) in [(0.0, 18), (2.0, 19), (4.0, 20)] {
        take(&mut awaited, at_s, number, true, 0);
    }
    for (onset_s, number) in [(6.0, 31), (7.0, 28)] {
        awaited.pluck(onset_s, string(number));
        let soft = Plucked {
            onset_s,
            string: string(number),
            apart: Cents(-4.0),
            level_dbfs: LEVEL - 6.0,
            stiffness: 0.0,
        };
        awaited.stands_elsewhere(soft, Wanted::Near(string(21)));
    }
    assert_eq!(take(&mut awaited, 9.0, 21, true, 1), [1]);
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
fn music_takes_away_what_waits_and_what_was_in_hand() {
    let mut awaited = Awaited::default();
    take(&mut awaited, 0.0, 31, true, 1);
    awaited.plays(0.5);
    assert!(take(&mut awaited, 1.0, 31, false, 2).is_empty());
    awaited.plays(1.5);
    assert!(take(&mut awaited, 2.0, 31, false, 3).is_empty());
}

/// Whether a pluck that is no reading counts, as loud as all others.
fn heeds<T>(awaited: &mut Awaited<T>, onset_s: f64, number: u32, wanted: Wanted) -> bool {
    let plucked = Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        level_dbfs: LEVEL,
        stiffness: 0.0,
    };
    awaited.heeds(&plucked, wanted, false) == Heeded::Yes
}

/// Music of four notes that ends at `end_s`.
fn play<T>(awaited: &mut Awaited<T>, end_s: f64) {
    for (back_s, number) in [(1.2, 40), (0.8, 38), (0.4, 36), (0.0, 34)] {
        awaited.pluck(end_s - back_s, string(number));
    }
    awaited.plays(end_s);
}

/// Plucks after music that ended at 10 s, each as (seconds, string, cents from its target), and the onsets of what counts then
/// while string 20 is asked for.
#[track_caller]
fn check_after_music(plucks: &[(f64, u32, f64, &[f64])]) {
    let mut awaited = Awaited::default();
    play(&mut awaited, 10.0);
    for &(onset_s, number, apart, counts) in plucks {
        let plucked = Plucked {
            onset_s,
            string: string(number),
            apart: Cents(apart),
            level_dbfs: LEVEL,
            stiffness: 0.0,
        };
        let taken = match awaited.take(plucked, Wanted::Near(string(20)), onset_s) {
            Taken::Counts(readings) => readings,
            _ => Vec::new(),
        };
        assert_eq!(taken, counts, "at {onset_s} s");
    }
}

#[test]
fn soon_after_music_what_is_asked_for_is_plucked_again_and_anything_else_once_more() {
    check_after_music(&[
        (12.0, 20, -9.0, &[]),
        (14.0, 20, -4.0, &[12.0, 14.0]),
        (20.0, 21, -4.0, &[20.0]),
    ]);
    check_after_music(&[(12.0, 20, -9.0, &[]), (13.0, 24, 0.0, &[]), (14.0, 20, -9.0, &[])]);
    check_after_music(&[
        (12.0, 31, -9.0, &[]),
        (13.0, 31, -9.0, &[]),
        (14.0, 31, -9.0, &[12.0, 13.0, 14.0]),
    ]);
    check_after_music(&[(18.5, 20, -9.0, &[18.5])]);
}

/// Others play in the room: what they play is heard as plucks until it proves to be none of hers.
#[test]
fn music_of_others_is_no_music_of_hers() {
    let mut awaited = Awaited::default();
    play(&mut awaited, 10.0);
    for back_s in [1.2, 0.8] {
        awaited.pass_by(10.0 - back_s);
    }
    assert_eq!(take(&mut awaited, 12.0, 20, true, 1), [1]);
    let asked = Wanted::Near(string(20));
    let mut awaited = Awaited::<()>::default();
    play(&mut awaited, 10.0);
    awaited.pass_by(8.8);
    assert!(!heeds(&mut awaited, 12.0, 20, asked), "three notes are hers");
    awaited.pass_by(9.2);
    assert!(heeds(&mut awaited, 12.0, 20, asked));
}

/// A last check is a run over the harp: whatever is plucked counts, also right after she has played.
#[test]
fn a_run_that_is_asked_for_counts_right_after_music() {
    let mut awaited = Awaited::default();
    play(&mut awaited, 10.0);
    for (onset_s, number) in [(9.5, 30), (9.9, 31)] {
        assert!(take(&mut awaited, onset_s, number, false, 0).is_empty());
    }
    for number in 1..=47 {
        let onset_s = 11.0 + 0.25 * f64::from(number);
        let plucked = Plucked {
            onset_s,
            string: string(number),
            apart: Cents(0.0),
            level_dbfs: LEVEL,
            stiffness: 0.0,
        };
        assert_eq!(awaited.take(plucked, Wanted::Any, number), Taken::Counts(vec![number]));
    }
}

#[test]
fn the_last_word_on_a_note_of_the_music_does_not_wait() {
    check_after_music(&[(9.5, 20, -9.0, &[]), (10.0, 20, -9.0, &[]), (12.0, 20, -9.0, &[])]);
}

#[test]
fn after_music_a_string_that_stands_alone_counts_and_what_is_taken_by_hand_does_at_once() {
    let mut awaited = Awaited::default();
    play(&mut awaited, 9.4);
    let plucked = |onset_s| Plucked {
        onset_s,
        string: string(20),
        apart: Cents(-9.0),
        level_dbfs: LEVEL,
        stiffness: 0.0,
    };
    assert_eq!(awaited.take(plucked(12.0), Wanted::Near(string(20)), 1), Taken::Waits);
    assert!(awaited.stood_alone(14.4).is_empty());
    assert_eq!(awaited.stood_alone(14.5), [1]);
    for wanted in [Wanted::ByHand, Wanted::Any] {
        play(&mut awaited, 20.0);
        assert_eq!(awaited.take(plucked(21.0), wanted, 2), Taken::Counts(vec![2]));
        play(&mut awaited, 30.0);
        assert!(heeds(&mut awaited, 31.0, 20, wanted));
    }
    play(&mut awaited, 40.0);
    assert!(
        !heeds(&mut awaited, 41.0, 20, Wanted::Near(string(20))),
        "no doubt of the music is hers"
    );
    assert!(heeds(&mut awaited, 49.0, 20, Wanted::Near(string(20))));
}

/// A string that a pedal has raised sounds like the next one; two of them in turn look like one that leaps to and fro.
#[test]
fn a_string_that_leaps_further_than_a_key_turns_is_another_one() {
    check_after_music(&[
        (12.0, 20, 99.0, &[]),
        (12.4, 20, 1.0, &[]),
        (12.8, 20, 99.0, &[]),
        (13.2, 20, 1.0, &[]),
    ]);
    check_after_music(&[(12.0, 20, -60.0, &[]), (13.0, 20, -5.0, &[12.0, 13.0])]);
}

#[test]
fn a_softer_string_that_nobody_asked_for_is_another_harps_and_stands_between_nothing() {
    let mut awaited = Awaited::default();
    assert_eq!(take(&mut awaited, 0.0, 20, true, 1), [1]);
    for onset_s in [5.0, 8.0, 8.5, 9.0] {
        assert!(take_at(LEVEL - 8.0, &mut awaited, onset_s, 24, false, 2).is_empty());
        assert!(awaited.stood_alone(onset_s + 2.6).is_empty());
    }
    // Her own second pluck, with the other harp's between.
    assert!(take(&mut awaited, 20.0, 31, false, 3).is_empty());
    assert!(take_at(LEVEL - 8.0, &mut awaited, 21.0, 24, false, 2).is_empty());
    assert_eq!(take(&mut awaited, 22.0, 31, false, 4), [3, 4]);
    // What is asked for or in hand may be softer.
    assert_eq!(take_at(LEVEL - 6.0, &mut awaited, 23.0, 31, false, 5), [5]);
    assert_eq!(take_at(LEVEL - 6.0, &mut awaited, 30.0, 12, true, 6), [6]);
}

#[test]
fn what_she_takes_by_hand_counts_however_soft_and_tells_that_the_gain_was_turned() {
    let mut awaited = Awaited::default();
    for (at_s, number) in [(0.0, 18), (2.0, 19), (4.0, 20)] {
        take(&mut awaited, at_s, number, true, 0);
    }
    let plucked = |onset_s, number| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        level_dbfs: LEVEL - 12.0,
        stiffness: 0.0,
    };
    let asked = Wanted::Near(string(20));
    for onset_s in [10.0, 12.0, 14.0, 16.0] {
        assert_eq!(awaited.take(plucked(onset_s, 20), asked, 1), Taken::TooSoft);
        assert_eq!(awaited.take(plucked(onset_s + 1.0, 40), asked, 1), Taken::NotHers);
    }
    let any = awaited.take(plucked(18.0, 40), Wanted::Any, 1);
    assert_eq!(any, Taken::Counts(vec![1]), "as in a last check");
    let by_hand = awaited.take(plucked(20.0, 20), Wanted::ByHand, 2);
    assert_eq!(by_hand, Taken::Counts(vec![2]));
    let next = awaited.take(plucked(22.0, 19), Wanted::Near(string(19)), 3);
    assert_eq!(next, Taken::Counts(vec![3]));
}

#[test]
fn what_is_in_hand_can_be_too_soft_and_its_ringing_stands_between_nothing() {
    let mut awaited = Awaited::default();
    take(&mut awaited, 0.0, 20, true, 0);
    let soft = Plucked {
        onset_s: 2.0,
        string: string(20),
        apart: Cents(-4.0),
        level_dbfs: LEVEL - 12.0,
        stiffness: 0.0,
    };
    assert_eq!(awaited.take(soft, Wanted::Nothing, 1), Taken::TooSoft);
    // It is still followed while it rings.
    awaited.pluck(2.0, string(20));
    assert!(awaited.plucks.iter().all(|(onset_s, _)| *onset_s != 2.0));
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

#[test]
fn what_is_asked_for_and_plucked_again_as_it_was_told_counts_though_it_is_soft() {
    let asked = Wanted::Near(string(23));
    let plucked = |onset_s, number, softer| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        level_dbfs: LEVEL - softer,
        stiffness: 0.0,
    };
    let hers = || {
        let mut awaited = Awaited::default();
        for (at_s, number) in [(0.0, 20), (2.0, 21), (4.0, 22)] {
            take(&mut awaited, at_s, number, true, 0);
        }
        awaited
    };
    let mut awaited = hers();
    assert_eq!(awaited.take(plucked(9.0, 23, 11.0), asked, 2), Taken::TooSoft);
    assert_eq!(awaited.take(plucked(11.5, 23, 11.0), asked, 3), Taken::Counts(vec![3]));
    // Not so where another harp has come to that string.
    let mut awaited = hers();
    for (onset_s, number) in [(5.5, 25), (7.0, 24), (9.0, 23), (11.5, 23)] {
        assert_ne!(
            awaited.take(plucked(onset_s, number, 9.5), asked, 4),
            Taken::Counts(vec![4])
        );
    }
    // Not so what is softer than any string of hers, or what comes much later.
    let mut awaited = Awaited::default();
    take(&mut awaited, 0.0, 22, true, 0);
    for onset_s in [6.0, 8.0, 10.0] {
        assert_eq!(awaited.take(plucked(onset_s, 23, 16.0), asked, 4), Taken::TooSoft);
    }
}

/// A harmonic that sounds like a string beside the one that is asked for, and what follows upon it.
#[test]
fn after_a_harmonic_what_is_asked_for_may_be_one_as_well() {
    let plucked = |onset_s, number, softer, stiffness| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(0.5),
        level_dbfs: LEVEL - softer,
        stiffness,
    };
    let mut awaited = Awaited::default();
    for number in 13..=30 {
        let onset_s = 2.0 * f64::from(number);
        let asked = Wanted::Near(string(number));
        awaited.take(plucked(onset_s, number, 0.0, 1.2e-4), asked, 0);
    }
    let asked = Wanted::Near(string(19));
    assert_eq!(
        awaited.take(plucked(65.0, 20, 6.0, 4.8e-4), asked, 1),
        Taken::Waits,
        "she plays"
    );
    assert_eq!(awaited.take(plucked(66.0, 19, 1.0, 1.2e-4), asked, 2), Taken::Waits);
    assert_eq!(
        awaited.take(plucked(72.0, 19, 1.0, 1.2e-4), asked, 3),
        Taken::Counts(vec![3]),
        "she has rested"
    );
}

/// String 23 so much softer than the three that counted before it, at a moment.
fn soft_23(onset_s: f64, softer: f64) -> Plucked {
    Plucked {
        onset_s,
        string: string(23),
        apart: Cents(-4.0),
        level_dbfs: LEVEL - softer,
        stiffness: 0.0,
    }
}

/// Her harp, of which strings 20 to 22 counted until 4 s.
fn hers<T: Default>() -> Awaited<T> {
    let mut awaited = Awaited::default();
    for (at_s, number) in [(0.0, 20), (2.0, 21), (4.0, 22)] {
        take(&mut awaited, at_s, number, true, T::default());
    }
    awaited
}

#[test]
fn who_plucks_slowly_and_softly_what_she_is_asked_for_is_not_locked_out() {
    let asked = Wanted::Near(string(23));
    for pause_s in [2.0, 5.0, 8.0, 12.0] {
        let mut awaited = hers();
        assert_eq!(awaited.take(soft_23(9.0, 10.0), asked, 1), Taken::TooSoft);
        assert_eq!(
            awaited.take(soft_23(9.0 + pause_s, 10.0), asked, 2),
            Taken::Counts(vec![2]),
            "{pause_s} s later"
        );
    }
    // One that is softer still takes nothing away, before or between.
    for soft in [[15.0, 10.0], [10.0, 15.0]] {
        let mut awaited = hers();
        assert_eq!(awaited.take(soft_23(9.0, soft[0]), asked, 1), Taken::TooSoft);
        assert_eq!(awaited.take(soft_23(14.0, soft[1]), asked, 2), Taken::TooSoft);
        assert_eq!(awaited.take(soft_23(19.0, 10.0), asked, 3), Taken::Counts(vec![3]));
    }
    // Each that comes too late for the one before is the first of two again.
    let mut awaited = hers();
    for onset_s in [9.0, 29.0, 49.0] {
        assert_eq!(awaited.take(soft_23(onset_s, 10.0), asked, 1), Taken::TooSoft);
    }
    assert_eq!(awaited.take(soft_23(56.0, 10.0), asked, 2), Taken::Counts(vec![2]));
}

#[test]
fn what_is_no_reading_changes_nothing_of_what_is_known_of_her_harp() {
    let asked = Wanted::Near(string(23));
    let mut awaited = hers();
    assert_eq!(awaited.take(soft_23(9.0, 10.0), asked, 1), Taken::TooSoft);
    let heeded = awaited.heeds(&soft_23(11.0, 10.0), asked, false);
    assert_eq!(heeded, Heeded::Yes, "it is plucked again");
    assert_eq!(awaited.take(soft_23(13.0, 10.0), asked, 2), Taken::Counts(vec![2]));
    // Nor does one that she has chosen by hand turn the gain down before it is measured.
    let mut awaited = hers::<()>();
    let before = awaited.whose.levels.softer_db(string(20), LEVEL);
    assert_eq!(awaited.heeds(&soft_23(9.0, 18.0), Wanted::ByHand, true), Heeded::Yes);
    assert_eq!(awaited.whose.levels.softer_db(string(20), LEVEL), before);
}

#[test]
fn a_doubt_that_is_soft_is_too_soft_where_it_is_asked_for_and_another_harps_where_it_is_not() {
    let mut awaited = hers::<()>();
    let near = Wanted::Near(string(23));
    assert_eq!(awaited.heeds(&soft_23(9.0, 13.0), near, true), Heeded::TooSoft);
    assert!(awaited.take_for_hers(string(23)));
    assert!(!awaited.take_for_hers(string(22)));
    let mut awaited = hers::<()>();
    let far = Wanted::Near(string(40));
    assert_eq!(awaited.heeds(&soft_23(20.0, 13.0), far, true), Heeded::No);
    assert!(!awaited.take_for_hers(string(23)));
}

#[test]
fn what_she_says_was_hers_is_waited_for_where_it_stood_and_no_softer_for_a_while() {
    let asked = Wanted::Near(string(23));
    let said = || {
        let mut awaited = hers();
        assert_eq!(awaited.take(soft_23(9.0, 16.0), asked, 1), Taken::TooSoft);
        assert!(awaited.take_for_hers(string(23)));
        awaited
    };
    let elsewhere = Plucked {
        apart: Cents(96.0),
        ..soft_23(12.0, 16.0)
    };
    for other in [soft_23(12.0, 21.0), soft_23(30.0, 16.0), elsewhere] {
        assert!(!said().is_trusted(&other));
        assert_eq!(said().take(other, asked, 2), Taken::TooSoft, "{other:?}");
    }
    let mut awaited = said();
    assert!(awaited.is_trusted(&soft_23(12.0, 19.0)));
    // Another string between takes nothing away.
    take(&mut awaited, 10.0, 40, false, 0);
    assert_eq!(awaited.take(soft_23(12.0, 19.0), asked, 3), Taken::Counts(vec![3]));
    assert!(awaited.said.is_none(), "it has come to its end");
    let mut awaited = said();
    awaited.take_back();
    assert_eq!(awaited.take(soft_23(12.0, 16.0), asked, 4), Taken::TooSoft);
}

/// In a last check whatever is plucked counts, and another harp's strings teach nothing about hers.
#[test]
fn what_counts_against_its_weight_is_not_learnt_from() {
    let mut awaited = hers();
    let unlike = Plucked {
        stiffness: 9e-4,
        ..soft_23(9.0, 14.0)
    };
    let before = format!("{:?}", awaited.whose.levels);
    assert_eq!(awaited.take(unlike, Wanted::Any, 1), Taken::Counts(vec![1]));
    assert!(!awaited.whose.knows(string(23)));
    assert_eq!(format!("{:?}", awaited.whose.levels), before);
    assert!(awaited.whose.knows(string(22)));
}

#[test]
fn a_level_or_a_place_that_is_no_number_lets_nothing_count_that_would_not_and_poisons_nothing() {
    let asked = Wanted::Near(string(23));
    let mut awaited = hers();
    let odd = Plucked {
        apart: Cents(f64::NAN),
        stiffness: f64::INFINITY,
        ..soft_23(9.0, 16.0)
    };
    assert_eq!(awaited.take(odd, asked, 1), Taken::TooSoft);
    assert_eq!(awaited.take(soft_23(11.0, 0.0), asked, 2), Taken::Counts(vec![2]));
}
