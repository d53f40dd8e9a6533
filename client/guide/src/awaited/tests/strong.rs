//! Plucks that are much stronger than hers are else.

use super::*;

/// A pluck so much louder than those of [`hers`], on a string that is asked for.
fn louder(awaited: &mut Awaited<i32>, onset_s: f64, number: u32, by_db: f64, glide: f64) -> Taken<i32> {
    let plucked = Plucked {
        onset_s,
        string: string(number),
        apart: Cents(1.0),
        glide: Cents(glide),
        level_dbfs: LEVEL + by_db,
        whole_dbfs: LEVEL + by_db,
        stiffness: 0.0,
    };
    awaited.take(plucked, Wanted::Near(string(number)), 1)
}

/// Her harp, whose strings from 18 to 24 have counted twice until 40 s.
fn hers() -> Awaited<i32> {
    let mut awaited = Awaited::default();
    for number in 18..25 {
        for again in 0..2 {
            let onset_s = f64::from(5 * (number - 18) + 2 * again);
            assert_eq!(louder(&mut awaited, onset_s, number, 0.0, -0.5), Taken::Counts(vec![1]));
        }
    }
    awaited
}

#[test]
fn a_strong_pluck_does_not_count_and_the_next_one_as_usual_does() {
    let mut awaited = hers();
    assert_eq!(
        louder(&mut awaited, 50.0, 20, 3.0, -0.5),
        Taken::Counts(vec![1]),
        "no stronger than plucks differ"
    );
    assert_eq!(louder(&mut awaited, 60.0, 22, 7.0, -0.5), Taken::Strong);
    assert_eq!(louder(&mut awaited, 62.0, 22, 0.5, -0.5), Taken::Counts(vec![1]));
    assert_eq!(
        louder(&mut awaited, 64.0, 22, 7.0, -0.5),
        Taken::Strong,
        "the first one is forgotten"
    );
}

#[test]
fn what_falls_further_than_else_was_stretched_though_it_is_hardly_louder() {
    let mut awaited = hers();
    assert_eq!(louder(&mut awaited, 50.0, 22, 3.5, -4.0), Taken::Strong);
    let mut awaited = hers();
    assert_eq!(
        louder(&mut awaited, 50.0, 22, 1.0, -4.0),
        Taken::Counts(vec![1]),
        "it is no louder"
    );
    assert_eq!(
        louder(&mut awaited, 55.0, 22, 3.5, -5.0),
        Taken::Counts(vec![1]),
        "it always falls like that"
    );
}

#[test]
fn who_plucks_so_again_means_it_and_a_gain_that_was_turned_up_is_learnt_from_two_strings() {
    let mut awaited = hers();
    for number in [20, 21] {
        let onset_s = 10.0 * f64::from(number - 15);
        assert_eq!(louder(&mut awaited, onset_s, number, 9.0, -0.5), Taken::Strong);
        assert_eq!(
            louder(&mut awaited, onset_s + 2.0, number, 8.0, -0.5),
            Taken::Counts(vec![1])
        );
    }
    for number in [22, 23, 24] {
        let onset_s = 10.0 * f64::from(number - 10);
        assert_eq!(
            louder(&mut awaited, onset_s, number, 8.5, -0.5),
            Taken::Counts(vec![1]),
            "{number}"
        );
    }
}

#[test]
fn nothing_is_too_strong_where_anything_is_awaited_or_nothing_is_known() {
    let mut awaited = Awaited::default();
    assert_eq!(louder(&mut awaited, 0.0, 20, 12.0, -9.0), Taken::Counts(vec![1]));
    // The first one was another harp's, perhaps: hers are louder then.
    let mut awaited = Awaited::default();
    for (onset_s, number, by_db) in [(0.0, 20, -11.0), (2.0, 21, 0.0), (4.0, 21, 0.5)] {
        assert_eq!(
            louder(&mut awaited, onset_s, number, by_db, -0.5),
            Taken::Counts(vec![1])
        );
    }
    let mut awaited = hers();
    let strong = Plucked {
        onset_s: 50.0,
        string: string(22),
        apart: Cents(1.0),
        glide: Cents(-9.0),
        level_dbfs: LEVEL + 12.0,
        whole_dbfs: LEVEL + 12.0,
        stiffness: 0.0,
    };
    for wanted in [Wanted::Any, Wanted::ByHand] {
        assert_eq!(awaited.take(strong, wanted, 2), Taken::Counts(vec![2]));
    }
}

/// What rings on hides partials of a string, so that it seems softer by itself: how strong it is shows by all that sounds.
#[test]
fn a_pluck_is_strong_by_all_that_sounds_then() {
    let mut awaited = hers();
    let among_others = |onset_s, level_dbfs, whole_dbfs| Plucked {
        onset_s,
        string: string(22),
        apart: Cents(1.0),
        glide: Cents(-0.5),
        level_dbfs,
        whole_dbfs,
        stiffness: 0.0,
    };
    let asked = Wanted::Near(string(22));
    let as_ever = among_others(50.0, LEVEL + 7.0, LEVEL);
    assert_eq!(awaited.take(as_ever, asked, 2), Taken::Counts(vec![2]));
    let strong = among_others(60.0, LEVEL, LEVEL + 7.0);
    assert_eq!(awaited.take(strong, asked, 3), Taken::Strong);
    let again = among_others(63.0, LEVEL - 5.0, LEVEL + 7.0);
    assert_eq!(awaited.take(again, asked, 4), Taken::Counts(vec![4]), "as strong again");
}
