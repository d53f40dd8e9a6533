//! Courses that were played string by string, and what is foretold of them.

use super::*;
use consort_proto::Cents;
use consort_proto::harp_file::preset;

/// A harp of which so many strings hold and one has moved.
fn judged(harp: &Harp, holding: usize, moved: bool) -> Readiness {
    let mut standings = vec![Standing::NotHeard; harp.len()];
    standings[..holding].fill(Standing::Holds(Cents(0.2)));
    if moved {
        standings[0] = Standing::Moved(Cents(-6.0));
    }
    Readiness::judged(standings)
}

/// A string every `pause` seconds, so many of them.
fn played(harp: &Harp, strings: usize, pause: u64) -> (Course, Uptime) {
    let mut course = Course::default();
    for done in 1..=strings {
        course.see(
            Uptime::from_secs(100 + pause * done as u64),
            harp,
            &judged(harp, done, false),
        );
    }
    (course, Uptime::from_secs(100 + pause * strings as u64))
}

fn likely_s(course: &Course, now: Uptime, harp: &Harp, readiness: &Readiness) -> f64 {
    let forecast = course.forecast(now, harp, readiness).expect("enough was seen");
    assert!(forecast.soonest <= forecast.likely && forecast.likely <= forecast.latest);
    forecast.likely.as_secs_f64()
}

#[test]
fn nothing_is_told_before_five_strings_and_a_ready_harp_needs_no_time() {
    let harp = preset("lever-34").expect("a preset");
    let (course, now) = played(&harp, TOLD_FROM - 1, 10);
    assert_eq!(course.forecast(now, &harp, &judged(&harp, TOLD_FROM - 1, false)), None);
    let (course, now) = played(&harp, harp.len(), 10);
    let ready = judged(&harp, harp.len(), false);
    assert_eq!(likely_s(&course, now, &harp, &ready), 0.0);
    let later = Uptime::from_secs(60) + now.0;
    assert_eq!(
        course.outlook(later, &harp, &ready).ready_for,
        Some(Duration::from_secs(60))
    );
}

#[test]
fn who_is_half_as_fast_needs_longer_and_who_has_done_more_is_known_better() {
    let harp = preset("pedal-47").expect("a preset");
    let foretold = |strings, pause| {
        let (course, now) = played(&harp, strings, pause);
        let forecast = course
            .forecast(now, &harp, &judged(&harp, strings, false))
            .expect("a forecast");
        (
            forecast.likely.as_secs_f64(),
            forecast.latest.as_secs_f64() / forecast.soonest.as_secs_f64(),
        )
    };
    let ((fast, _), (slow, _)) = (foretold(20, 8), foretold(20, 16));
    assert!((1.7..2.1).contains(&(slow / fast)), "{fast} {slow}");
    // 27 strings at about 8 seconds each, and the last check.
    assert!((180.0..330.0).contains(&fast), "{fast}");
    assert!(foretold(30, 8).1 < foretold(6, 8).1);
}

#[test]
fn what_comes_back_and_what_is_broken_off_for_long() {
    let harp = preset("pedal-47").expect("a preset");
    let (mut course, now) = played(&harp, 20, 10);
    let before = likely_s(&course, now, &harp, &judged(&harp, 20, false));
    course.see(now, &harp, &judged(&harp, 20, true));
    let moved = likely_s(&course, now, &harp, &judged(&harp, 20, true));
    assert!(moved > before + 5.0, "{before} {moved}");
    // An hour's pause does not make a slow harpist.
    let (mut course, now) = played(&harp, 20, 10);
    let late = now + Duration::from_secs(3_600);
    course.see(late, &harp, &judged(&harp, 21, false));
    let after = likely_s(&course, late, &harp, &judged(&harp, 21, false));
    assert!(after < before * 1.2, "{before} {after}");
}

#[test]
fn a_tuning_that_began_before_anybody_looked_is_told_at_the_usual_pace() {
    let harp = preset("pedal-47").expect("a preset");
    let mut course = Course::default();
    let now = Uptime::from_secs(1);
    let readiness = judged(&harp, 30, false);
    course.see(now, &harp, &readiness);
    let likely = likely_s(&course, now, &harp, &readiness);
    assert!((150.0..600.0).contains(&likely), "{likely}");
}

#[test]
fn a_new_pitch_is_work_for_strings_that_held() {
    let harp = preset("pedal-47").expect("a preset");
    let (mut course, now) = played(&harp, 40, 10);
    let before = likely_s(&course, now, &harp, &judged(&harp, 40, false));
    let all_off = Readiness::judged(vec![Standing::Off(Cents(-7.9)); harp.len()]);
    course.see(now, &harp, &all_off);
    assert!(likely_s(&course, now, &harp, &all_off) > 3.0 * before);
}

/// A harp that is far flat: a quick pass over all its strings, one every 6 seconds, then the first `fine` of a fine pass, one
/// every 10 seconds.
fn quick_pass(harp: &Harp, near: usize, fine: usize) -> (Course, Uptime, Readiness) {
    let mut course = Course::default();
    let mut standings = vec![Standing::NotHeard; harp.len()];
    let mut now_s = 100;
    let mut hears = |place: usize, standing: Standing, after_s: u64| {
        now_s += after_s;
        standings[place] = standing;
        course.see(Uptime::from_secs(now_s), harp, &Readiness::judged(standings.clone()));
    };
    for place in 0..near {
        hears(place, Standing::Off(Cents(-25.0)), 2);
        hears(place, Standing::Off(Cents(-3.5)), 4);
    }
    for place in 0..fine {
        hears(place, Standing::SetOnce(Cents(-0.5)), 7);
        hears(place, Standing::Holds(Cents(-0.4)), 3);
    }
    (course, Uptime::from_secs(now_s), Readiness::judged(standings))
}

#[test]
fn a_quick_pass_is_told_from_its_fifth_string_on_and_makes_nobody_slow() {
    let harp = preset("pedal-47").expect("a preset");
    let (course, now, readiness) = quick_pass(&harp, TOLD_FROM, 0);
    assert_eq!(
        course.forecast(now, &harp, &readiness),
        None,
        "the fifth is still in hand"
    );
    #[rustfmt::skip]
    let table = [
        // near  fine  so much is left in truth, s, but for what the last check finds
        (12,     0,    35 * 6 + 47 * 10),
        (30,     0,    17 * 6 + 47 * 10),
        (47,     6,    41 * 10),
        (47,     30,   17 * 10),
    ];
    for (near, fine, left_s) in table {
        let (course, now, readiness) = quick_pass(&harp, near, fine);
        let likely = likely_s(&course, now, &harp, &readiness) / f64::from(left_s);
        assert!((0.75..1.6).contains(&likely), "{near} near, {fine} fine: {likely}");
    }
}

#[test]
fn strings_that_were_only_played_once_are_no_quick_pass() {
    let harp = preset("pedal-47").expect("a preset");
    let (mut course, now) = played(&harp, 20, 10);
    let mut standings = judged(&harp, 20, false).standings().to_vec();
    let before = likely_s(&course, now, &harp, &Readiness::judged(standings.clone()));
    for (place, after) in (30..36).zip(1..) {
        standings[place] = Standing::Off(Cents(-4.0));
        course.see(
            now + Duration::from_secs(after),
            &harp,
            &Readiness::judged(standings.clone()),
        );
    }
    let after = likely_s(&course, now, &harp, &Readiness::judged(standings));
    assert!(after < before, "{before} {after}");
}
