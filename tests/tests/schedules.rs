//! Thousands of bad evenings: whatever breaks, no promise does.

use std::time::Duration;

use consort_tests::network::{Plan, Tally, play};

/// Schedules played unless `CONSORT_SCHEDULES` says otherwise.
const USUAL: u64 = 5_000;
/// The longest that a station may need after the last fault: it was turned away, and rests 10 s before it tries again,
/// or its last call was still out.
const HEALED_WITHIN: Duration = Duration::from_secs(15);

#[test]
fn no_schedule_of_faults_breaks_a_promise() {
    let number = |name: &str| {
        let value = std::env::var(name).ok()?;
        Some(
            value
                .parse::<u64>()
                .unwrap_or_else(|why| panic!("{name}={value}: {why}")),
        )
    };
    let seeds = match number("CONSORT_SEED") {
        Some(seed) => seed..=seed,
        None => 1..=number("CONSORT_SCHEDULES").unwrap_or(USUAL),
    };
    let (first, last) = (*seeds.start(), *seeds.end());
    let threads = std::thread::available_parallelism().map_or(1, |cores| cores.get() as u64);
    // Each thread takes every so manieth seed; the first promise that is broken ends the test.
    let all = std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads)
            .map(|thread| scope.spawn(move || play_all((first..=last).skip(thread as usize).step_by(threads as usize))))
            .collect();
        let mut all = Tally::default();
        for part in parts {
            let part = part.join().expect("a schedule panicked");
            all += part.unwrap_or_else(|broken| panic!("{broken}"));
        }
        all
    });
    let played = seeds.end() - seeds.start() + 1;
    if played < 100 {
        return;
    }
    // The faults were real, and work went on between them.
    for (what, seen, at_least) in [
        ("reports acknowledged", all.acked, 50),
        ("coordinators killed", all.coordinator_kills, 1),
        ("stations killed", all.station_kills, 2),
        ("links broken", all.breaks, 5),
        ("stations cut off", all.cuts, 2),
        ("laptops that slept", all.sleeps, 1),
        ("records refused", all.refused_records, 1),
        ("agreements changed", all.changes, 1),
        ("boards drawn with a harp ready", all.drawn_ready, 5),
        ("words of strangers", all.strange_words, 2),
    ] {
        assert!(seen >= played * at_least, "{what}: {seen} in {played} schedules");
    }
}

/// Plays the schedules of these seeds, and adds up what they did; says how to play a broken one again.
fn play_all(seeds: impl Iterator<Item = u64>) -> Result<Tally, String> {
    let mut all = Tally::default();
    for seed in seeds {
        let plan = Plan {
            seed,
            stations: 1 + (seed % 5) as usize,
            faults_for: Duration::from_secs(40),
        };
        let tally = play(plan).map_err(|broken| format!("{broken}\nplay it again with CONSORT_SEED={seed}"))?;
        let healed = tally.healed_after;
        if healed > HEALED_WITHIN {
            return Err(format!("CONSORT_SEED={seed}: healed after {healed:?}"));
        }
        all += tally;
    }
    Ok(all)
}
