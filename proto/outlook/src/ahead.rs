//! A harp some minutes ahead: which of its strings would be done if a start were called for.
//!
//! Three minutes before a start the desk asks for what is heard most, so those strings come first: what is off, by how far and
//! in which register, then what was not heard yet in the order in which this harp is tuned, last what only wants its
//! confirmation. They are done at the harp's own pace, as the forecast knows it: where the harp will likely be ready by then,
//! all of them are. What is done holds; a string in work when the time is over is left as it is.

use std::time::Duration;

use consort_proto::order::most_audible_first;
use consort_proto::{Cents, Harp, Readiness, Standing, StringNumber};

use crate::course::{Course, Rest};

/// A start that is called for soon.
pub const SOON: Duration = Duration::from_secs(180);

impl Course {
    /// What the harp will likely have come to `within` so long, if a start is called for then and `rest` is left of it now.
    pub(crate) fn after(&self, rest: Rest, harp: &Harp, readiness: &Readiness, within: Duration) -> Readiness {
        let mut standings = readiness.standings().to_vec();
        let all = rest.likely_s() <= within.as_secs_f64();
        let mut work = rest.work() * within.as_secs_f64() / rest.likely_s().max(1e-6);
        let is_left = |number: &StringNumber| {
            readiness
                .of(*number)
                .is_some_and(|standing| !standing.lets_the_harp_be_ready())
        };
        let left: Vec<StringNumber> = self.order().strings(harp).into_iter().filter(is_left).collect();
        for number in most_audible_first(harp, &left, readiness) {
            let place = number.index();
            let (Some(string), Some(standing)) = (harp.string(number), standings.get_mut(place)) else {
                continue;
            };
            work -= rest.dearer() * self.cost(place, string, *standing);
            if work < 0.0 && !all {
                break;
            }
            *standing = Standing::Holds(Cents(0.0));
        }
        Readiness::judged(standings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Register, Remains, remains};
    use consort_proto::harp_file::preset;
    use consort_proto::order::Order;
    use consort_proto::{Tolerance, Uptime};

    /// What the harp will have come to, if enough was seen of it.
    fn come_to(course: &Course, now: Uptime, tuned: (&Harp, &Readiness), within: Duration) -> Option<Readiness> {
        let (harp, readiness) = tuned;
        let rest = course.rest(now, harp, readiness)?;
        Some(course.after(rest, harp, readiness, within))
    }

    /// A harp of which the first `done` strings in `order` were tuned, one every `pause` seconds, and those after it stand `next`.
    fn tuned(order: Order, done: usize, pause: u64, next: Standing) -> (Harp, Course, Uptime, Readiness) {
        let harp = preset("pedal-47").expect("a preset");
        let mut course = Course::default();
        let mut standings = vec![Standing::NotHeard; harp.len()];
        let mut now = Uptime::from_secs(100);
        let strings = order.strings(&harp);
        for number in &strings[..done] {
            now = now + Duration::from_secs(pause);
            standings[number.index()] = Standing::Holds(Cents(0.3));
            course.see(now, &harp, &Readiness::judged(standings.clone()));
        }
        for number in &strings[done..] {
            standings[number.index()] = next;
        }
        let readiness = Readiness::judged(standings);
        course.see(now, &harp, &readiness);
        (harp, course, now, readiness)
    }

    /// Strings off and not heard, in the whole harp.
    fn counted(left: impl IntoIterator<Item = Remains>) -> (usize, usize) {
        left.into_iter()
            .fold((0, 0), |(off, not), one| (off + one.off, not + one.not_heard))
    }

    #[test]
    fn each_harp_gets_as_far_as_its_own_pace_takes_it() {
        let off = Standing::Off(Cents(-9.0));
        let near = Standing::Off(Cents(-4.0));
        #[rustfmt::skip]
        let table = [
            // done pause  next                s ahead  off     not heard
            (20,    10,    Standing::NotHeard, 180,     0..=0,  8..=11),
            (20,    20,    Standing::NotHeard, 180,     0..=0,  17..=20),
            (20,    10,    Standing::NotHeard, 0,       0..=0,  27..=27),
            (20,    10,    off,                180,     2..=5,  0..=0),
            (20,    20,    off,                180,     14..=17, 0..=0),
            (20,    10,    off,                900,     0..=0,  0..=0),
            // Nobody notices these, however long they take.
            (20,    20,    near,               0,       0..=0,  0..=0),
            (47,    20,    off,                0,       0..=0,  0..=0),
        ];
        for (done, pause, next, ahead_s, off, not_heard) in table {
            let (harp, course, now, readiness) = tuned(Order::Usual, done, pause, next);
            let ahead = come_to(&course, now, (&harp, &readiness), Duration::from_secs(ahead_s));
            let left = counted(Remains::of(&harp, &ahead.expect("enough was seen")));
            assert!(
                off.contains(&left.0) && not_heard.contains(&left.1),
                "{done} strings at {pause} s, {next:?}, in {ahead_s} s: {left:?}"
            );
        }
    }

    #[test]
    fn what_is_left_lies_where_the_harps_own_order_comes_last() {
        for (order, last) in [
            (Order::Usual, Register::Top),
            (Order::Up, Register::Top),
            (Order::Down, Register::Wires),
        ] {
            let (harp, course, now, readiness) = tuned(order, 30, 20, Standing::NotHeard);
            let ahead = come_to(&course, now, (&harp, &readiness), SOON).expect("enough was seen");
            let left = remains([Remains::of(&harp, &ahead)]);
            let most = left
                .iter()
                .max_by_key(|remains| remains.not_heard)
                .expect("some are left");
            assert_eq!((course.order(), most.register), (order, last), "{left:?}");
        }
        let (harp, course, now, readiness) = tuned(Order::Octaves, 40, 20, Standing::NotHeard);
        let ahead = come_to(&course, now, (&harp, &readiness), Duration::ZERO).expect("enough was seen");
        assert_eq!((course.order(), ahead), (Order::Octaves, readiness), "{}", harp.name());
    }

    #[test]
    fn what_is_heard_most_is_done_first_and_what_only_wants_its_confirmation_last() {
        let (harp, mut course, now, readiness) = tuned(Order::Usual, 20, 20, Standing::NotHeard);
        let mut standings = readiness.standings().to_vec();
        let number = |order: usize| Order::Usual.strings(&harp)[order];
        let (once, far) = (number(20), number(46));
        standings[once.index()] = Standing::SetOnce(Cents(0.8));
        standings[far.index()] = Standing::Off(Cents(-30.0));
        let readiness = Readiness::judged(standings);
        course.see(now, &harp, &readiness);
        let ahead = come_to(&course, now, (&harp, &readiness), Duration::from_secs(40)).expect("enough was seen");
        let at = |string: StringNumber| ahead.of(string).expect("a string");
        assert!(matches!(at(far), Standing::Holds(_)), "{:?}", at(far));
        assert_eq!(at(once), Standing::SetOnce(Cents(0.8)));
        assert!(
            Tolerance::default().is_top(harp.string(far).expect("a string")),
            "the top string"
        );
    }

    #[test]
    fn where_the_harp_will_likely_be_ready_nothing_remains_and_of_too_little_nothing_is_told() {
        let (harp, course, now, readiness) = tuned(Order::Usual, 40, 8, Standing::NotHeard);
        let likely = course.forecast(now, &harp, &readiness).expect("a forecast").likely;
        let ahead = |within| come_to(&course, now, (&harp, &readiness), within).expect("enough was seen");
        assert!(ahead(likely + Duration::from_millis(1)).is_ready());
        assert!(!ahead(likely / 4).is_ready());
        let (harp, course, now, readiness) = tuned(Order::Usual, 4, 8, Standing::NotHeard);
        assert_eq!(come_to(&course, now, (&harp, &readiness), SOON), None);
        assert_eq!(course.outlook(now, &harp, &readiness).soon, None);
    }

    #[test]
    fn a_tuning_that_nobody_saw_begin_is_taken_for_one_in_the_usual_order() {
        assert_eq!(Course::default().order(), Order::Usual);
    }
}
