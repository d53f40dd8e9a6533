//! The promise to the audio path: nothing is allocated once the listener is made.

use consort_analysis::{Config, Context, Heard, Held, HeldTone, Listener, Order};
use consort_proto::{Cents, Hz, SampleRate};

#[global_allocator]
static ALLOCATOR: dhat::Alloc = dhat::Alloc;

/// Two strings, a knock, hiss and silence: every path from onset to reading and refusal.
fn sound(rate: u32) -> Vec<f32> {
    let step = 1.0 / f64::from(rate);
    (0..4 * rate)
        .map(|n| {
            let t = f64::from(n) * step;
            let string = |hz: f64, at: f64| {
                let t = t - at;
                let partial = |n: f64| (std::f64::consts::TAU * n * hz * t).sin() / n;
                if t < 0.0 {
                    0.0
                } else {
                    0.1 * (-2.0 * t).exp() * (partial(1.0) + partial(2.0) + partial(3.0))
                }
            };
            let hiss = f64::from(n.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
            let knock = if t > 3.0 {
                0.5 * hiss * (-(t - 3.0) * 80.0).exp()
            } else {
                0.0
            };
            (string(311.9, 0.3)
                + string(61.8, 0.8)
                + string(277.2, 1.8)
                + string(261.6, 2.05)
                + string(246.9, 2.3)
                + knock
                + 1e-4 * hiss) as f32
        })
        .collect()
}

/// One string that is turned up by a semitone while it sounds, plucked twice.
fn turned(rate: u32) -> Vec<f32> {
    let mut phase = 0.0_f64;
    (0..4 * rate)
        .map(|n| {
            let t = f64::from(n) / f64::from(rate);
            let cents = 50.0 * (t - 0.6).clamp(0.0, 2.0) - 100.0;
            phase += std::f64::consts::TAU * 311.1 * (cents / 1200.0).exp2() / f64::from(rate);
            let since = if t < 2.0 { t - 0.3 } else { t - 2.0 };
            let loud = if since < 0.0 { 0.0 } else { 0.1 * (-1.5 * since).exp() };
            (loud * (phase.sin() + 0.5 * (2.0 * phase).sin() + 0.3 * (3.0 * phase).sin())) as f32
        })
        .collect()
}

/// What a listener at 48 kHz may hold together with what it knows of 47 strings, bytes.
const HOLDS_AT_MOST: usize = 20_000_000;

#[test]
fn hearing_holds_little_and_allocates_nothing() {
    let profiler = dhat::Profiler::builder().testing().build();
    let context = Box::new(Context::concert_harp(Hz::new(440.0).expect("A4")));
    let mut listener = Listener::new(Config {
        rate: SampleRate::STUDIO,
        ..Config::default()
    });
    listener.set_context(&context);
    let held = dhat::HeapStats::get().curr_bytes + size_of::<Listener>();
    dhat::assert!(held <= HOLDS_AT_MOST, "{held} bytes are held");
    drop(profiler);
    for (rate, order, chosen) in [
        (16_000, Order::Usual, None),
        (48_000, Order::Unknown, None),
        (96_000, Order::Usual, None),
        (16_000, Order::Run, None),
        (48_000, Order::Run, None),
        (48_000, Order::Usual, Some(24)),
    ] {
        let sound = if chosen.is_some() { turned(rate) } else { sound(rate) };
        let mut context = Context::concert_harp(Hz::new(440.0).expect("A4"));
        context.order = order;
        context.chosen = chosen;
        let rate = SampleRate::new(rate).expect("rate");
        let mut listener = Listener::new(Config {
            rate,
            ..Config::default()
        });
        let (mut heard, mut settled, mut followed) = (0, 0, 0);
        let profiler = dhat::Profiler::builder().testing().build();
        for block in sound.chunks(512) {
            context.remember(24, Some(Cents(3.0)));
            listener.set_context(&context);
            listener.push(block);
            while let Some(one) = listener.poll() {
                heard += 1;
                settled += usize::from(matches!(one, Heard::Settled(_)));
                followed += usize::from(matches!(one, Heard::Track(track) if Some(track.string) == chosen));
            }
        }
        listener.finish();
        while let Some(one) = listener.poll() {
            heard += 1;
            settled += usize::from(matches!(one, Heard::Settled(_)));
        }
        let stats = dhat::HeapStats::get();
        dhat::assert_eq!(stats.total_blocks, 0);
        drop(profiler);
        assert!(heard > 50, "{heard} things were heard");
        // A string that is turned is told of as it sounds: 25 times a second.
        assert!(
            if chosen.is_some() { followed > 50 } else { settled > 1 },
            "{settled} settled, {followed} followed"
        );
    }
    let hertz = Hz::new(440.0).expect("A4");
    let mut held = HeldTone::new(SampleRate::STUDIO, hertz);
    let tone: Vec<f32> = (0..4 * 48_000_u32)
        .map(|n| 0.1 * (std::f64::consts::TAU * 441.0 * f64::from(n) / 48_000.0).sin() as f32)
        .collect();
    let profiler = dhat::Profiler::builder().testing().build();
    let mut told = 0;
    for block in tone.chunks(4_800) {
        held.push(block);
        told += usize::from(matches!(held.held(), Held::Tone { .. }));
    }
    let stats = dhat::HeapStats::get();
    dhat::assert_eq!(stats.total_blocks, 0);
    drop(profiler);
    assert!(told > 5, "the tone was told {told} times");
}
