use super::*;

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

fn plucked(onset_s: f64, number: u32, level_dbfs: f64) -> Plucked {
    Plucked {
        onset_s,
        string: string(number),
        apart: Cents(2.0),
        glide: Cents(0.0),
        level_dbfs,
        whole_dbfs: level_dbfs,
        stiffness: 2e-4,
    }
}

/// Her harp, of which some strings counted at −20 dB.
fn hers() -> Whose {
    let mut whose = Whose::default();
    for number in 18..25 {
        let one = plucked(0.0, number, -20.0);
        whose.levels.count(one.string, one.level_dbfs);
        whose.learn(&one);
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

/// Her strings hide some of another harp's: who walks over that is two strings on by the next one that is heard.
#[test]
fn another_hand_that_walks_may_be_two_strings_on() {
    let mut whose = hers();
    for (onset_s, number) in [(8.0, 25), (10.0, 26)] {
        whose.is_anothers(onset_s, string(number), -3.0);
    }
    let weighs = |number| whose.weigh(&plucked(12.0, number, -25.5), Expected::Asked);
    assert!(weighs(28) < weighs(29) - 1.5, "{} {}", weighs(28), weighs(29));
    assert!(weighs(24) > weighs(29) - 0.5, "{}: it walks the other way", weighs(24));
}

#[test]
fn one_that_counted_by_mistake_does_not_make_the_next_ones_hers() {
    let mut whose = hers();
    whose.has_in_hand(string(40), 0.5);
    let next = plucked(7.0, 41, -26.0);
    let doubtful = whose.weigh(&next, Expected::BesideHand);
    whose.has_in_hand(string(40), 6.0);
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
        whose.learn(&one);
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

#[test]
fn what_cannot_be_weighed_is_not_hers_and_nothing_weighs_without_end() {
    let whose = hers();
    let impossible = Plucked {
        stiffness: 1e9,
        apart: Cents(1e6),
        ..plucked(2.0, 20, -400.0)
    };
    let nats = whose.weigh(&impossible, Expected::Asked);
    assert!(nats.is_finite() && nats < 0.0, "{nats}");
    let nothing = Plucked {
        stiffness: f64::NAN,
        apart: Cents(f64::NAN),
        ..plucked(2.0, 20, f64::NAN)
    };
    let plain = Plucked {
        stiffness: 0.0,
        ..nothing
    };
    let nats = whose.weigh(&nothing, Expected::Asked);
    assert_eq!(nats, whose.weigh(&plain, Expected::Asked), "it was not measured");
    assert!(nats > 0.0, "what was not measured says nothing: {nats}");
    let endless = Plucked {
        stiffness: f64::INFINITY,
        ..plain
    };
    let mut whose = hers();
    for odd in [plain, nothing, endless] {
        whose.learn(&odd);
    }
    let itself = plucked(3.0, 20, -20.0);
    let stiffer = Plucked {
        stiffness: 4e-4,
        ..itself
    };
    let [itself, stiffer] = [itself, stiffer].map(|one| whose.weigh(&one, Expected::Not));
    assert!(
        itself > stiffer + 1.0,
        "its stiffness is still known: {itself} {stiffer}"
    );
}

#[test]
fn a_weak_sign_takes_nothing_from_a_strong_suspicion() {
    let soft = plucked(13.0, 27, -25.5);
    let mut whose = hers();
    whose.is_anothers(10.0, string(26), -4.0);
    let strong = whose.weigh(&soft, Expected::Asked);
    whose.is_anothers(11.0, string(26), -0.1);
    assert!(whose.weigh(&soft, Expected::Asked) < strong + 0.1);
}

#[test]
fn somebody_who_is_heard_from_time_to_time_is_not_held_to_be_where_he_was_long_ago_and_a_suspicion_fades() {
    let mut whose = hers();
    whose.is_anothers(10.0, string(26), -4.0);
    assert!(whose.is_another_near(25.0, string(27)));
    for onset_s in [25.0, 40.0] {
        whose.hears_another(onset_s);
    }
    assert!(!whose.is_another_near(45.0, string(27)));
    // After an hour one sound is as much as one is at the beginning.
    let mut long_ago = hers();
    long_ago.is_anothers(10.0, string(40), -8.0);
    long_ago.hears_another(3600.0);
    let mut first = hers();
    first.hears_another(3600.0);
    let soft = plucked(3601.0, 27, -25.5);
    let [long_ago, first] = [long_ago, first].map(|whose| whose.weigh(&soft, Expected::Asked));
    assert!((long_ago - first).abs() < 0.01, "{long_ago} {first}");
}

#[test]
fn where_a_string_stood_is_forgotten_when_its_target_moves() {
    let weighs = |whose: &Whose| {
        let moved = Plucked {
            apart: Cents(-6.0),
            ..plucked(2.0, 20, -20.0)
        };
        whose.weigh(&moved, Expected::Not)
    };
    let mut whose = hers();
    let known = weighs(&whose);
    whose.forget_places();
    assert!(weighs(&whose) > known + 1.0);
}
