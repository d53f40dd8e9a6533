//! Time to render one second of a harp that is plucked every two seconds: compare it with the second itself.

use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{SampleRate, StringNumber, harp_file};

fn main() {
    divan::main();
}

/// A harp of 47 strings on which strings are plucked from the bottom up, in `room`.
fn playing(rate: u32, room: Room) -> impl FnMut() -> f32 {
    let harp = harp_file::preset("pedal-47").expect("a preset");
    let stage = Stage {
        rate: SampleRate::new(rate).expect("a rate"),
        voices: Voices::Computed,
        pickup: Pickup::POOR,
        room,
    };
    let mut sounding = VirtualHarp::new(&harp, &Condition::before_a_rehearsal(&harp, 1), stage);
    let mut second = vec![0.0; rate as usize];
    let mut count = 0;
    move || {
        if count % 2 == 0 {
            let number = StringNumber::new(47 - count / 2 % 47).expect("a string");
            sounding.pluck(number, Pluck::ORDINARY);
        }
        count += 1;
        sounding.render(&mut second);
        second[0]
    }
}

#[divan::bench(args = [16_000, 48_000, 96_000])]
fn one_second_of_a_harp(bencher: divan::Bencher<'_, '_>, rate: u32) {
    bencher.bench_local(playing(rate, Room::default()));
}

#[divan::bench(args = [48_000])]
fn one_second_of_a_harp_in_a_full_room(bencher: divan::Bencher<'_, '_>, rate: u32) {
    let room = Room {
        warm_up_db: Some(-15.0),
        talk_db: Some(-20.0),
        harp_db: Some(-12.0),
    };
    bencher.bench_local(playing(rate, room));
}
