use super::*;

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

fn plucked(onset_s: f64, number: u32, level_dbfs: f64) -> Plucked {
    Plucked {
        onset_s,
        string: string(number),
        apart: Cents(2.0),
        level_dbfs,
        stiffness: 2e-4,
    }
}

/// Her harp, of which some strings counted at −20 dB.
fn hers() -> Whose {
    let mut whose = Whose::default();
    for number in 18..25 {
        let one = plucked(0.0, number, -20.0);
        whose.levels.count(one.string, one.level_dbfs);
        whose.is_hers(&one, 10.0);
    }
    whose
}

#[test]
fn a_string_that_is_asked_for_may_be_softer_than_one_that_nobody_asked_for() {
    let whose = hers();
    let weighs = |number, softer, expected| whose.weigh(&plucked(2.0, number, -20.0 - softer), expected);
    assert!(weighs(26, 0.0, Expected::Not) > 2.0);
    assert!(weighs(26, 7.0, Expected::Not) < 0.0);
    assert!(weighs(26, 7.0, Expected::Asked) > 1.0);
    assert!(weighs(26, 14.0, Expected::Asked) < 0.0);
    // One that counted before is better known.
    assert!(weighs(20, 9.0, Expected::Asked) < weighs(26, 9.0, Expected::Asked));
}

#[test]
fn what_follows_another_hand_is_suspicious_and_what_follows_hers_is_not() {
    let soft = |number| plucked(12.0, number, -25.5);
    let alone = hers().weigh(&soft(27), Expected::Asked);
    assert!(alone > 1.0, "{alone}");
    let mut whose = hers();
    whose.is_anothers(10.0, string(26), -3.0);
    let beside = whose.weigh(&soft(27), Expected::Asked);
    assert!(beside < 1.0, "{beside}");
    assert!(whose.weigh(&soft(33), Expected::Asked) > 1.0, "her hand is elsewhere");
    // As loud as her own harp it is hers all the same, and so it is once the other one has rested.
    assert!(whose.weigh(&plucked(12.0, 27, -20.0), Expected::Asked) > 1.0);
    assert!(whose.weigh(&plucked(200.0, 27, -25.5), Expected::Asked) > 1.0);
}

#[test]
fn one_that_counted_by_mistake_does_not_make_the_next_ones_hers() {
    let mut whose = hers();
    whose.is_hers(&plucked(5.0, 40, -22.0), 0.5);
    let next = plucked(7.0, 41, -26.0);
    let doubtful = whose.weigh(&next, Expected::BesideHand);
    whose.is_hers(&plucked(5.0, 40, -22.0), 6.0);
    let sure = whose.weigh(&next, Expected::BesideHand);
    assert!(doubtful < 1.0 && sure > doubtful + 2.0, "{doubtful} {sure}");
}

#[test]
fn a_string_is_known_by_its_stiffness_and_by_where_it_was_left() {
    let whose = hers();
    let weighs = |stiffness, apart| {
        let one = Plucked {
            stiffness,
            apart: Cents(apart),
            ..plucked(2.0, 20, -22.0)
        };
        whose.weigh(&one, Expected::Not)
    };
    let itself = weighs(2e-4, 2.0);
    assert!(itself > weighs(2.8e-4, 2.0) + 1.0);
    assert!(itself > weighs(2e-4, -3.0) + 1.0);
    // Where the stiffness was not measured it says nothing.
    assert!((weighs(2.8e-4, 2.0)..itself).contains(&weighs(0.0, 2.0)));
}

#[test]
fn what_is_far_too_soft_says_that_somebody_else_is_there() {
    let mut whose = hers();
    let soft = plucked(12.0, 27, -28.0);
    let before = whose.weigh(&soft, Expected::Asked);
    for onset_s in [6.0, 8.0, 10.0] {
        whose.hears_another(onset_s);
    }
    assert!(whose.weigh(&soft, Expected::Asked) < before - 1.0);
}

/// Strings 13 to 30 counted; a harmonic of string 27 sounds an octave higher, where string 20 does.
#[test]
fn a_harmonic_is_told_by_the_stiffness_of_the_string_an_octave_below() {
    let mut whose = Whose::default();
    for number in 13..=30 {
        let stiffness = if number > 22 { 1e-4 } else { 1.5e-4 };
        let one = Plucked {
            stiffness,
            ..plucked(0.0, number, -20.0)
        };
        whose.levels.count(one.string, one.level_dbfs);
        whose.is_hers(&one, 10.0);
    }
    let heard = |stiffness, softer| Plucked {
        stiffness,
        ..plucked(5.0, 20, -20.0 - softer)
    };
    assert!(whose.is_harmonic(&heard(4e-4, 6.0)));
    assert!(!whose.is_harmonic(&heard(1.5e-4, 6.0)));
    assert!(!whose.is_harmonic(&heard(2e-4, 6.0)), "another harp's string, perhaps");
    assert!(whose.weigh(&heard(4e-4, 6.0), Expected::BesideAsked) < 0.0);
    assert!(whose.weigh(&heard(1.5e-4, 1.0), Expected::BesideAsked) > 2.0);
    // A string that was not heard yet is expected to be like those beside it.
    whose.strings.retain(|known| known.string != string(20));
    assert!(whose.is_harmonic(&heard(4e-4, 6.0)));
    assert!(!whose.is_harmonic(&heard(1.2e-4, 6.0)));
}
