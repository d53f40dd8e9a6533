//! Strings that are turned, and what else sounds meanwhile.

use super::*;

const RATE: f64 = 16_000.0;

/// Two seconds of a string with three partials at 300 Hz that rises by `cents` in a second from the first half second on,
/// while another one that answered it stays where it began, `ring` times as loud in the first partial.
fn sound(cents: f64, ring: f64) -> Vec<f32> {
    let (mut phase, mut stays) = (0.0_f64, 0.0_f64);
    (0..32_000)
        .map(|n| {
            let turned = cents * (f64::from(n) / RATE - 0.5).max(0.0);
            phase += std::f64::consts::TAU * 300.0 * (turned / 1200.0).exp2() / RATE;
            stays += std::f64::consts::TAU * 300.0 / RATE;
            let string = phase.sin() + 0.5 * (2.0 * phase).sin() + 0.3 * (3.0 * phase).sin();
            (string + ring * stays.sin() + 0.2 * ring * (2.0 * stays).sin()) as f32
        })
        .collect()
}

/// How far off the string was told to be in the middle of each look, cents; `None` where it was not found.
fn chased(sound: &[f32], cents: f64) -> Vec<Option<f64>> {
    let (mut chase, mut trend) = (Chase::new(RATE), Trend::default());
    chase.begin(300.0, 300.0, 0.0);
    let seconds = Chase::look_s(300.0);
    let len = (seconds * RATE) as usize;
    let looks = (len..sound.len()).step_by(640);
    looks
        .map(|end| {
            let middle_s = end as f64 / RATE - 0.5 * seconds;
            let way = trend.way(middle_s).unwrap_or(Way::from_rest(300.0));
            let found = chase.look(&sound[end - len..end], RATE, way)?;
            trend.look(middle_s, found.hz, found.sigma_cents);
            Some(1200.0 * (found.hz / 300.0).log2() - cents * (middle_s - 0.5).max(0.0))
        })
        .collect()
}

#[test]
fn a_string_too_high_for_the_rate_is_not_found() {
    let mut chase = Chase::new(RATE);
    let way = Way::from_rest(0.41 * RATE);
    chase.begin(way.hz, way.hz, 0.0);
    let sound = vec![0.1_f32; (Chase::look_s(way.hz) * RATE) as usize];
    assert!(chase.look(&sound, RATE, way).is_none());
}

#[test]
fn a_string_that_rises_is_found_where_it_is() {
    for cents in [40.0, 100.0, 200.0] {
        let off = chased(&sound(cents, 0.0), cents);
        let worst = off.iter().map(|off| off.expect("found").abs()).fold(0.0, f64::max);
        assert!(worst < 3.0, "{worst} cents off at {cents} cents a second");
    }
}

/// The other string is as loud as this one in its first partial, which would draw the pitch back to where it began, and then
/// 16 dB louder, more than this one in two of its three.
#[test]
fn what_stays_behind_does_not_hold_it() {
    for ring in [1.0, 6.0] {
        let off = chased(&sound(100.0, ring), 100.0);
        let last = off.iter().rev().take(10).map(|off| off.expect("found").abs());
        let worst = last.fold(0.0, f64::max);
        assert!(
            worst < 3.0,
            "{worst} cents off after a semitone and a half beside {ring}"
        );
    }
}

/// The octave below, with which it is compared, rings on: its odd partials lie half-way between those of the string.
#[test]
fn an_octave_that_rings_below_is_no_noise() {
    for loud in [0.1, 0.5] {
        let mut both = sound(100.0, 0.0);
        for (n, sample) in both.iter_mut().enumerate() {
            let turn = std::f64::consts::TAU * 150.0 * n as f64 / RATE;
            *sample += (1..=20)
                .map(|k| (f64::from(k) * turn).sin() / f64::from(k))
                .sum::<f64>() as f32
                * loud;
        }
        let off = chased(&both, 100.0);
        let found = off.iter().flatten();
        let worst = found.clone().map(|off| off.abs()).fold(0.0, f64::max);
        assert!(found.count() > off.len() * 9 / 10, "{loud}: {off:?}");
        assert!(worst < 6.0, "{worst} cents off beside {loud}");
    }
}

/// In noise that is as loud as three thousandths of it a string is found 20 dB clear of it, and noise alone soon ends the chase.
#[test]
fn noise_is_no_string() {
    let mut seed = 1_u32;
    let mut noisy = sound(0.0, 0.0);
    noisy.extend([0.0; 16_000]);
    for sample in &mut noisy {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *sample += 0.1 * ((seed >> 8) as f32 / (1 << 24) as f32 - 0.5);
    }
    let mut chase = Chase::new(RATE);
    chase.begin(300.0, 300.0, 0.0);
    let len = (Chase::look_s(300.0) * RATE) as usize;
    let mut lost_at = None;
    for end in (len..noisy.len()).step_by(640) {
        let found = chase.look(&noisy[end - len..end], RATE, Way::from_rest(300.0));
        let clear = found.map_or(0.0, |found| found.clear);
        if end <= 32_000 {
            assert!(clear > 100.0, "{clear} at {end}");
        } else if end > 32_000 + len {
            assert!(clear < 10.0, "{clear} at {end}");
            lost_at = lost_at.or(chase.at().is_none().then_some(end));
        }
    }
    let after_s = (lost_at.expect("lost") - 32_000) as f64 / RATE;
    assert!(after_s < 0.7, "{after_s} s after it fell silent");
}

/// After a third of a second in which it is not found it is lost, until it is plucked again.
#[test]
fn a_string_that_falls_silent_is_lost() {
    let mut chase = Chase::new(RATE);
    chase.begin(300.0, 300.0, 0.0);
    let silence = vec![0.0; (Chase::look_s(300.0) * RATE) as usize];
    for _ in 0..LOST {
        assert!(chase.at().is_some());
        assert!(chase.look(&silence, RATE, Way::from_rest(300.0)).is_none());
    }
    assert!(chase.at().is_none() && !chase.is_home());
    chase.begin(310.0, 310.0, 0.0);
    assert!(chase.at() == Some(310.0));
    chase.end();
    assert!(chase.is_home());
}
