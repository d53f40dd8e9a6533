//! What both generators have to tell truly, whatever findings are made of it.

use consort_life::{Drawn, Plot, Storyteller, Trouble, Wooden};
use consort_proto::{StringNumber, harp_file};
use consort_record::{Life, Moment, Visit};

fn plot(seed: u64, trouble: Option<(Trouble, usize)>) -> Plot {
    Plot {
        seed,
        harp: harp_file::preset("pedal-47").expect("a preset"),
        tuned_a_day: 0.9,
        hall_a_day: 0.1,
        trouble,
    }
}

fn tellers(plot: &Plot) -> [Box<dyn Storyteller>; 2] {
    [Box::new(Wooden::new(plot.clone())), Box::new(Drawn::new(plot.clone()))]
}

/// How far a string fell below its neighbour from each tuning to the next, cents, and when that was found.
fn falls(life: &Life, string: StringNumber) -> Vec<(Moment, f64)> {
    let neighbour = StringNumber::new(u32::from(string.get()) + 1).expect("a neighbour");
    let fall = |pair: &[Visit], string| {
        let left = pair[0].strings.get(&string)?.left?;
        let found = pair[1].strings.get(&string)?.found?;
        Some(-found.hz.cents_above(left.hz).0)
    };
    life.visits
        .windows(2)
        .filter_map(|pair| Some((pair[1].at, fall(pair, string)? - fall(pair, neighbour)?)))
        .collect()
}

#[test]
fn the_same_seed_tells_the_same_life() {
    let plot = plot(5, None);
    for (mut one, mut other) in tellers(&plot).into_iter().zip(tellers(&plot)) {
        for _ in 0..20 {
            assert_eq!(one.next(), other.next());
        }
        assert_eq!(one.life(), other.life());
    }
}

#[test]
fn strings_are_left_near_their_pitch_and_found_a_few_cents_off() {
    for mut teller in tellers(&plot(6, None)) {
        for _ in 0..60 {
            teller.next();
        }
        let string = StringNumber::new(26).expect("a string");
        let falls = falls(teller.life(), string);
        let mean = falls.iter().map(|(_, fall)| fall.abs()).sum::<f64>() / falls.len() as f64;
        assert!((0.3..6.0).contains(&mean), "{mean}");
    }
}

/// When the tuning of this number was.
fn struck(life: &Life, number: usize) -> Moment {
    life.visits[number].at
}

#[test]
fn a_slipping_pin_falls_by_its_cents_a_day() {
    let string = StringNumber::new(20).expect("a string");
    let slips = Trouble::SlippingPin {
        string,
        cents_a_day: 8.0,
    };
    let mut rates = [Vec::new(), Vec::new()];
    for seed in 0..30 {
        for (rates, mut teller) in rates.iter_mut().zip(tellers(&plot(seed, Some((slips, 10))))) {
            for _ in 0..30 {
                teller.next();
            }
            let falls = falls(teller.life(), string);
            let slipping: Vec<_> = falls
                .iter()
                .filter(|(at, _)| *at >= struck(teller.life(), 10))
                .collect();
            let days = slipping[slipping.len() - 1].0.days_since(slipping[0].0);
            rates.push(slipping[1..].iter().map(|(_, fall)| fall).sum::<f64>() / days);
        }
    }
    for rates in rates {
        let mean = rates.iter().sum::<f64>() / rates.len() as f64;
        assert!((7.0..9.5).contains(&mean), "{mean}");
    }
}

#[test]
fn a_new_string_falls_less_and_less_and_then_holds() {
    let string = StringNumber::new(24).expect("a string");
    for seed in 0..10 {
        for mut teller in tellers(&plot(seed, Some((Trouble::NewString { string }, 5)))) {
            let holds: Vec<_> = (0..60).map(|_| teller.next().holds_on).collect();
            let falls = falls(teller.life(), string);
            let early = struck(teller.life(), 5);
            let mean = |from: f64, to: f64| {
                let some = falls
                    .iter()
                    .filter(|(at, _)| (from..to).contains(&at.days_since(early)));
                let (sum, count) = some.fold((0.0, 0.0), |(sum, count), (_, fall)| (sum + fall, count + 1.0));
                sum / count
            };
            let (young, later) = (mean(0.5, 4.0), mean(25.0, 60.0));
            assert!(young > 1.5 && later.abs() < 1.0, "seed {seed}: {young} {later}");
            let day = holds[59].expect("a day on which it holds");
            let fitted = teller.life().fittings[0].on;
            assert!((1..40).contains(&day.days_since(fitted)), "{}", day.days_since(fitted));
        }
    }
}
