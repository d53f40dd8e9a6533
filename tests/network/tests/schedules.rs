//! Thousands of bad evenings: whatever breaks, no promise does.

use std::io::Write;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use consort_link::Link;
use consort_logbook::{ReplayError, replay};
use consort_network::{Flaw, Plan, Tally, play, play_logged};
use consort_session::Session;

/// Schedules played unless `CONSORT_SCHEDULES` says otherwise; more where nobody waits for them, with `CI` set.
const USUAL: u64 = 5_000;
const UNATTENDED: u64 = 100_000;
/// The longest that a station may need after the last fault: it was turned away, and rests 10 s before it tries again,
/// or its last call was still out.
const HEALED_WITHIN: Duration = Duration::from_secs(15);

#[test]
fn the_logbooks_of_a_schedule_come_out_as_they_were_written() {
    let (mut lives, mut effects) = (0, 0);
    for seed in 1..=40 {
        let (played, logbooks) = play_logged(plan(seed));
        assert!(played.is_ok(), "{played:?}");
        let of_coordinator = replay::<Session>(&logbooks.coordinator);
        let of_stations = logbooks.stations.iter().map(|text| replay::<Link>(text));
        for replayed in of_stations.chain([of_coordinator]) {
            let replayed = replayed.unwrap_or_else(|why| panic!("seed {seed}: {why}"));
            lives += replayed.lives;
            effects += replayed.effects;
        }
        let all = logbooks.stations.join("") + &logbooks.coordinator;
        for name in ["Player", "Hall of numbers", "Nobody", "Three strings"] {
            assert!(!all.contains(name), "seed {seed}: the name “{name}” is in a logbook");
        }
    }
    assert!(lives > 100 && effects > 10_000, "{lives} lives, {effects} effects");
}

#[test]
fn a_logbook_that_was_changed_is_found_out() {
    let (_, logbooks) = play_logged(plan(3));
    let text = logbooks.coordinator;
    // One reading, a hair higher than it was.
    let at = text.find(r#"["reading",["#).expect("a reading");
    let begin = at + text[at..].find(r#",""#).expect("its pitch") + 2;
    let end = begin + text[begin..].find('"').expect("its end");
    let hz: f64 = text[begin..end].parse().expect("a number");
    let changed = format!("{}{:?}{}", &text[..begin], hz + 0.001, &text[end..]);
    assert!(matches!(replay::<Session>(&changed), Err(ReplayError::Differs { .. })));
    let cut = &text[..text.len() - 10];
    assert!(replay::<Session>(cut).is_ok(), "a last line that was cut is left out");
    assert!(matches!(replay::<Link>(&text), Err(ReplayError::OtherProgram { .. })));
    assert_eq!(replay::<Session>(""), Err(ReplayError::NoStart));
    assert!(matches!(
        replay::<Session>("nonsense\n"),
        Err(ReplayError::NotALine { line: 1, .. })
    ));
}

fn plan(seed: u64) -> Plan {
    Plan {
        seed,
        stations: 1 + (seed % 5) as usize,
        faults_for: Duration::from_secs(40),
        flaw: None,
    }
}

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
    let is_unattended = std::env::var_os("CI").is_some();
    let usual = if is_unattended { UNATTENDED } else { USUAL };
    let seeds = match number("CONSORT_SEED") {
        Some(seed) => seed..=seed,
        None => 1..=number("CONSORT_SCHEDULES").unwrap_or(usual),
    };
    let (first, last) = (*seeds.start(), *seeds.end());
    let begun = Instant::now();
    let threads = std::thread::available_parallelism().map_or(1, |cores| cores.get() as u64);
    // Each thread takes every so manieth seed; the first promise that is broken ends the test.
    let (all, played) = std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads)
            .map(|thread| {
                let seeds = (first..=last).skip(thread as usize).step_by(threads as usize);
                scope.spawn(move || play_all(seeds))
            })
            .collect();
        let (mut all, mut played) = (Tally::default(), 0);
        for part in parts {
            let part = part.join().expect("a schedule panicked");
            let (tally, number) = part.unwrap_or_else(|broken| panic!("{broken}"));
            all += tally;
            played += number;
        }
        (all, played)
    });
    // Told past the test's own capture, to whoever asks what was proven.
    let took_s = begun.elapsed().as_secs_f64();
    let _ = writeln!(std::io::stderr(), "{played} schedules were played in {took_s:.0} s");
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

#[test]
#[rustfmt::skip]
fn a_shell_that_breaks_its_contract_breaks_a_promise() {
    for (flaw, at_least, promise) in [
        // In how many of a hundred schedules a promise breaks, about half of those in which it does, and which one.
        (Flaw::LosesReports,    35, "was acknowledged and is not on disk"),
        (Flaw::OpensAnOldFile,  35, "is shown after epoch"),
        (Flaw::TrustsAnybody,   30, "a stranger changed something"),
        (Flaw::DrawsTooSeldom,   6, "is shown as ready and was not heard"),
        (Flaw::ForgetsTooSoon,  10, "was acknowledged and is not on disk"),
        (Flaw::NeverCallsAgain, 50, "heard nothing"),
    ] {
        let broken = (1..=100).filter_map(|seed| play(Plan { flaw: Some(flaw), ..plan(seed) }).err());
        let broken: Vec<String> = broken.map(|broken| broken.what).collect();
        assert!(broken.len() >= at_least, "{flaw:?} is found by {} of a hundred schedules", broken.len());
        assert!(broken.iter().any(|what| what.contains(promise)), "{flaw:?} shows as {:?}", broken.first());
    }
}

/// Schedules that found something, by seed, each with the flaw that shows what it found and the promise
/// that breaks. One that breaks a promise is added
/// here when that is mended, with `None` where no flaw brings the fault back.
const KEPT: [(u64, Option<(Flaw, &str)>); 6] = [
    (200_000, Some((Flaw::NeverCallsAgain, "heard nothing"))),
    (
        200_001,
        Some((Flaw::LosesReports, "was acknowledged and is not on disk")),
    ),
    (200_001, Some((Flaw::OpensAnOldFile, "is shown after epoch"))),
    (200_001, Some((Flaw::TrustsAnybody, "a stranger changed something"))),
    (
        200_001,
        Some((Flaw::ForgetsTooSoon, "was acknowledged and is not on disk")),
    ),
    (
        200_009,
        Some((Flaw::DrawsTooSeldom, "is shown as ready and was not heard")),
    ),
];

#[test]
fn what_a_schedule_once_found_it_finds_again_and_nothing_else() {
    for (seed, flaw) in KEPT {
        play_all(std::iter::once(seed)).unwrap_or_else(|broken| panic!("{broken}"));
        if let Some((flaw, promise)) = flaw {
            let found = play(Plan {
                flaw: Some(flaw),
                ..plan(seed)
            });
            let what = found.err().map(|broken| broken.what).unwrap_or_default();
            assert!(what.contains(promise), "seed {seed} with {flaw:?}: “{what}”");
        }
    }
}

/// Plays the schedule once more and keeps what its programs would have written down; says where.
fn keep_logbooks(plan: Plan) -> String {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("schedule-{}", plan.seed));
    let (_, logbooks) = play_logged(plan);
    let named = std::iter::once(("coordinator".to_owned(), logbooks.coordinator));
    let stations = (1..).zip(logbooks.stations);
    let mut named = named.chain(stations.map(|(number, text)| (format!("station-{number}"), text)));
    let kept = std::fs::create_dir_all(&folder)
        .and_then(|()| named.try_for_each(|(name, text)| std::fs::write(folder.join(name + ".logbook"), text)));
    kept.map_or_else(|why| format!("no folder ({why})"), |()| folder.display().to_string())
}

/// Plays the schedules of these seeds, and adds up what they did and how many they were; says how to play a broken one again.
fn play_all(seeds: impl Iterator<Item = u64>) -> Result<(Tally, u64), String> {
    let (mut all, mut played) = (Tally::default(), 0);
    for seed in seeds {
        let plan = plan(seed);
        let tally = play(plan).map_err(|broken| {
            let kept = keep_logbooks(plan);
            format!("{broken}\nplay it again with CONSORT_SEED={seed}; its logbooks, for `replay`, are in {kept}")
        })?;
        let healed = tally.healed_after;
        if healed > HEALED_WITHIN {
            return Err(format!("CONSORT_SEED={seed}: healed after {healed:?}"));
        }
        all += tally;
        played += 1;
    }
    Ok((all, played))
}
