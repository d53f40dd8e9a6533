//! Exact resampling: a recorded string at another pitch.

use std::f64::consts::PI;

/// Half the length of the interpolating filter, in samples of the slower of both rates.
const HALF: f64 = 32.0;

/// `sound` played `ratio` times as fast, so that every frequency in it is multiplied by that, with the sample number `fixed`
/// staying where it is; `len` samples, silence where there is no sound.
///
/// Each sample is a sum of sinc functions under a cosine-squared window, cut off below both Nyquist frequencies.
/// Source: J. O. Smith, P. Gossett, "A Flexible Sampling-Rate Conversion Method", ICASSP 1984.
pub(super) fn play_faster(sound: &[f32], ratio: f64, fixed: f64, len: usize) -> Vec<f32> {
    let cutoff = 0.97 * (1.0 / ratio).min(1.0);
    let reach = HALF / cutoff;
    // From one sample of the sound to the next, sine and window turn by these.
    let (sine_step, window_step) = (turn(PI * cutoff), turn(PI / reach));
    (0..len)
        .map(|n| {
            let at = fixed + (n as f64 - fixed) * ratio;
            let first = (at - reach).ceil().max(0.0) as usize;
            let last = (((at + reach).floor().max(-1.0) + 1.0) as usize).min(sound.len());
            let from = first as f64 - at;
            let (mut sine, mut window) = (turn(PI * cutoff * from), turn(PI * from / reach));
            let mut sum = 0.0;
            for (x, sample) in (0..).zip(sound.get(first..last).unwrap_or(&[])) {
                let x = PI * (from + f64::from(x));
                let sinc = if x.abs() < 1e-9 { cutoff } else { sine.1 / x };
                sum += f64::from(*sample) * sinc * (0.5 + 0.5 * window.0);
                (sine, window) = (turned(sine, sine_step), turned(window, window_step));
            }
            sum as f32
        })
        .collect()
}

/// Cosine and sine of an angle.
fn turn(angle: f64) -> (f64, f64) {
    let (sin, cos) = angle.sin_cos();
    (cos, sin)
}

/// Cosine and sine of the sum of two angles.
fn turned(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of 1,000 Hz played a fifth higher is one of 1,500 Hz, to a ten-thousandth of its amplitude.
    #[test]
    fn a_tone_played_faster_is_the_higher_tone() {
        let tone =
            |hz: f64| (0..4800).map(move |n| (std::f64::consts::TAU * hz * (f64::from(n) - 2400.0) / 48_000.0).sin());
        let sound: Vec<f32> = tone(1000.0).map(|x| x as f32).collect();
        let faster = play_faster(&sound, 1.5, 2400.0, 4800);
        let should: Vec<f64> = tone(1500.0).collect();
        for n in 1200..3600 {
            assert!((f64::from(faster[n]) - should[n]).abs() < 1e-3, "sample {n}");
        }
    }
}
