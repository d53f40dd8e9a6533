//! Whose a pluck is: hers, softly, or another harp's.

use super::*;

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
            glide: Cents(0.0),
            level_dbfs: LEVEL - 6.0,
            whole_dbfs: LEVEL - 6.0,
            stiffness: 0.0,
        };
        awaited.stands_elsewhere(soft, Wanted::Near(string(21)));
    }
    assert_eq!(take(&mut awaited, 9.0, 21, true, 1), [1]);
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

/// Hers ring on: with them another harp's string sounds as loud as hers do.
#[test]
fn a_softer_string_is_another_harps_however_loud_hers_ring_on_beside_it() {
    for (level_dbfs, becomes) in [(LEVEL - 9.0, Taken::TooSoft), (LEVEL, Taken::Counts(vec![1]))] {
        let mut awaited = Awaited::default();
        for (at_s, number) in [(0.0, 18), (2.0, 19), (4.0, 20)] {
            take(&mut awaited, at_s, number, true, 0);
        }
        let beside = Plucked {
            onset_s: 5.0,
            string: string(22),
            apart: Cents(-4.0),
            glide: Cents(0.0),
            level_dbfs,
            whole_dbfs: LEVEL,
            stiffness: 0.0,
        };
        assert_eq!(awaited.take(beside, Wanted::Near(string(21)), 1), becomes);
    }
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
        glide: Cents(0.0),
        level_dbfs: LEVEL - 12.0,
        whole_dbfs: LEVEL - 12.0,
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
        glide: Cents(0.0),
        level_dbfs: LEVEL - 12.0,
        whole_dbfs: LEVEL - 12.0,
        stiffness: 0.0,
    };
    assert_eq!(awaited.take(soft, Wanted::Nothing, 1), Taken::TooSoft);
    // It is still followed while it rings.
    awaited.pluck(2.0, string(20));
    assert!(awaited.plucks.iter().all(|(onset_s, _)| *onset_s != 2.0));
}

#[test]
fn what_is_asked_for_and_plucked_again_as_it_was_told_counts_though_it_is_soft() {
    let asked = Wanted::Near(string(23));
    let plucked = |onset_s, number, softer| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs: LEVEL - softer,
        whole_dbfs: LEVEL - softer,
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

/// String 23 so much softer than the three that counted before it, at a moment.
fn soft_23(onset_s: f64, softer: f64) -> Plucked {
    Plucked {
        onset_s,
        string: string(23),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs: LEVEL - softer,
        whole_dbfs: LEVEL - softer,
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

/// A hand that goes its own way over her harp, where a string is softer than its neighbours told.
#[test]
fn who_plucks_again_what_has_counted_is_who_plucked_it_before() {
    let mut awaited = hers();
    let asked = Wanted::Near(string(40));
    assert_eq!(
        awaited.take(soft_23(7.0, 5.5), asked, 1),
        Taken::Counts(vec![1]),
        "the next of her walk"
    );
    for (onset_s, softer) in [(9.0, 7.5), (11.0, 8.5), (13.0, 6.0), (15.0, 7.5)] {
        let counts = awaited.take(soft_23(onset_s, softer), asked, 2);
        assert_eq!(counts, Taken::Counts(vec![2]), "{onset_s} s");
    }
    // Each of them is weighed by the one before it, so that none is much softer than that.
    assert_ne!(awaited.take(soft_23(17.0, 14.0), asked, 3), Taken::Counts(vec![3]));
}

/// A note that counted for nobody but sounds as hers do tells nothing of another's hand, wherever that was; a soft one does.
#[test]
fn what_is_like_hers_in_itself_does_not_lead_another_hand_to_what_is_asked_for() {
    let string_at = |onset_s, number, level_dbfs| Plucked {
        onset_s,
        string: string(number),
        apart: Cents(-4.0),
        glide: Cents(0.0),
        level_dbfs,
        whole_dbfs: level_dbfs,
        stiffness: 0.0,
    };
    for (level_dbfs, counts) in [(LEVEL, true), (LEVEL - 6.0, false)] {
        let mut awaited = hers();
        let asked = Wanted::Near(string(30));
        assert_eq!(awaited.take(string_at(19.0, 26, LEVEL - 9.0), asked, 1), Taken::NotHers);
        for (onset_s, number) in [(20.0, 27), (21.0, 28), (22.0, 29)] {
            awaited.heeds(&string_at(onset_s, number, level_dbfs), Wanted::Nothing, true);
        }
        let taken = awaited.take(string_at(24.0, 30, LEVEL - 4.5), asked, 2);
        assert_eq!(taken == Taken::Counts(vec![2]), counts, "{level_dbfs} dB: {taken:?}");
    }
}

/// Another harp is heard before she begins: that shows once hers are known.
#[test]
fn what_waited_in_vain_before_hers_were_known_was_anothers() {
    for (early_db, becomes) in [(-11.0, Taken::TooSoft), (0.0, Taken::Counts(vec![2]))] {
        let mut awaited = Awaited::default();
        assert!(take_at(LEVEL + early_db, &mut awaited, 0.0, 26, false, 1).is_empty());
        for (onset_s, number) in [(1.0, 20), (3.0, 21), (5.0, 22)] {
            assert_eq!(take(&mut awaited, onset_s, number, true, 1), [1]);
        }
        let soft = Plucked {
            onset_s: 9.0,
            string: string(26),
            apart: Cents(-4.0),
            glide: Cents(0.0),
            level_dbfs: LEVEL - 7.0,
            whole_dbfs: LEVEL - 7.0,
            stiffness: 0.0,
        };
        assert_eq!(awaited.take(soft, Wanted::Near(string(26)), 2), becomes);
    }
}

/// A harp that is tuned beside hers is heard before she has plucked: what would be learnt of it would lead astray for long.
#[test]
fn before_her_harp_is_known_a_string_beside_the_one_that_is_asked_for_waits() {
    for (known, counts) in [(0, false), (2, false), (3, true)] {
        let mut awaited = Awaited::default();
        for (at_s, number) in [(0.0, 20), (2.0, 21), (4.0, 22)].into_iter().take(known) {
            assert_eq!(take(&mut awaited, at_s, number, true, 0), [0]);
        }
        let beside = Plucked {
            string: string(24),
            ..soft_23(9.0, 0.0)
        };
        let taken = awaited.take(beside, Wanted::Near(string(23)), 1);
        assert_eq!(taken == Taken::Counts(vec![1]), counts, "{known} have counted");
    }
}
