//! Music on her own harp, pedals that move, harmonics.

use super::*;

#[test]
fn music_takes_away_what_waits_and_what_was_in_hand() {
    let mut awaited = Awaited::default();
    take(&mut awaited, 0.0, 31, true, 1);
    awaited.plays(0.5);
    assert!(take(&mut awaited, 1.0, 31, false, 2).is_empty());
    awaited.plays(1.5);
    assert!(take(&mut awaited, 2.0, 31, false, 3).is_empty());
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
            glide: Cents(0.0),
            level_dbfs: LEVEL,
            whole_dbfs: LEVEL,
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
            glide: Cents(0.0),
            level_dbfs: LEVEL,
            whole_dbfs: LEVEL,
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
        glide: Cents(0.0),
        level_dbfs: LEVEL,
        whole_dbfs: LEVEL,
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
    // At leisure, a key could have turned it as far; but it is just a semitone or a whole tone.
    for leap in [-206.0, -94.0, 104.0, 195.0] {
        check_after_music(&[(12.0, 20, -2.0, &[]), (15.5, 20, leap - 2.0, &[])]);
    }
    check_after_music(&[(12.0, 20, -60.0, &[]), (13.0, 20, -5.0, &[12.0, 13.0])]);
    check_after_music(&[(12.0, 20, -150.0, &[]), (15.5, 20, -5.0, &[12.0, 15.5])]);
}

/// A harmonic that sounds like a string beside the one that is asked for, and what follows upon it.
#[test]
fn after_a_harmonic_what_is_asked_for_may_be_one_as_well() {
    let plucked = |onset_s, number, softer, stiffness| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(0.5),
        glide: Cents(0.0),
        level_dbfs: LEVEL - softer,
        whole_dbfs: LEVEL - softer,
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
    // One that is so soft that the ear doubts it is one all the same; another harp's string is none.
    let mut soft = |onset_s, stiffness| {
        let heeded = awaited.heeds(&plucked(onset_s, 26, 12.0, stiffness), asked, true);
        assert_eq!(heeded, Heeded::No);
        awaited.take(plucked(onset_s + 2.0, 19, 1.0, 1.2e-4), asked, 4)
    };
    assert_eq!(soft(90.0, 4.8e-4), Taken::Waits);
    assert_eq!(soft(110.0, 1.4e-4), Taken::Counts(vec![4]));
}
