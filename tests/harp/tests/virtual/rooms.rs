//! What else sounds is as loud as was asked for.

use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp};

use crate::mirror::{concert_harp, line_near, number, sound, stage};

/// Mean level, decibels below full scale.
fn level_db(sound: &[f32]) -> f64 {
    let power = sound.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / sound.len() as f64;
    10.0 * power.log10()
}

/// An ordinary pluck over its first half second: what all levels are given against.
fn pluck_db(which: u32) -> f64 {
    let mut harp = VirtualHarp::new(&concert_harp(), &Condition::sound(1), stage());
    harp.pluck(number(which), Pluck::ORDINARY);
    level_db(&sound(&mut harp, 0.5))
}

#[test]
fn plucks_are_about_equally_loud_and_never_clip() {
    let mut all = Vec::new();
    for which in 1..=47 {
        all.push(pluck_db(which));
        let mut harp = VirtualHarp::new(&concert_harp(), &Condition::sound(1), stage());
        harp.pluck(
            number(which),
            Pluck {
                loudness: 1.6,
                ..Pluck::ORDINARY
            },
        );
        let loudest = sound(&mut harp, 0.5)
            .iter()
            .fold(0.0_f32, |most, sample| most.max(sample.abs()));
        assert!(loudest < 0.8, "string {which} reaches {loudest}");
    }
    let mean = all.iter().sum::<f64>() / 47.0;
    // 0.045 of full scale is 27 dB below it.
    assert!((mean + 27.0).abs() < 3.0, "{mean} dB in the mean: {all:?}");
    assert!(all.iter().all(|db| (db - mean).abs() < 12.0), "{all:?}");
}

#[test]
fn the_room_is_as_loud_as_was_asked_for() {
    let of = |room| {
        let mut harp = VirtualHarp::new(&concert_harp(), &Condition::sound(1), Stage { room, ..stage() });
        level_db(&sound(&mut harp, 40.0)) + 27.0
    };
    let warm_up = of(Room {
        warm_up_db: Some(-12.0),
        ..Room::default()
    });
    assert!((warm_up + 12.0).abs() < 2.0, "the warm-up is at {warm_up} dB");
    let talk = of(Room {
        talk_db: Some(-12.0),
        ..Room::default()
    });
    assert!((talk + 12.0).abs() < 3.0, "the talk is at {talk} dB");
    // A plucked harp is loud for a moment and then dies away.
    let harp = of(Room {
        harp_db: Some(-12.0),
        ..Room::default()
    });
    assert!((-22.0..-9.0).contains(&harp), "the other harp is at {harp} dB");
    assert!(of(Room::default()) < -80.0, "a quiet room is quiet");
}

#[test]
fn the_hum_lies_on_the_mains_and_its_multiples_and_lasts() {
    let pickup = Pickup {
        hum_db: Some(-10.0),
        ..Pickup::GOOD
    };
    let mut harp = VirtualHarp::new(&concert_harp(), &Condition::sound(1), Stage { pickup, ..stage() });
    let early = sound(&mut harp, 2.0);
    sound(&mut harp, 60.0);
    let late = sound(&mut harp, 2.0);
    for sound in [&early, &late] {
        assert!(
            (level_db(sound) + 27.0 + 10.0).abs() < 0.5,
            "{}",
            level_db(sound) + 27.0
        );
        for hz in [50.0, 100.0, 150.0, 250.0] {
            let (found, amplitude) = line_near(sound, hz, 3.0);
            assert!(
                (found - hz).abs() < 0.01 && amplitude > 1e-3,
                "{found} Hz with {amplitude}"
            );
        }
    }
}
