//! Exact resampling: a recorded string at another pitch.

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
    (0..len)
        .map(|n| {
            let at = fixed + (n as f64 - fixed) * ratio;
            let first = (at - reach).ceil().max(0.0) as usize;
            let last = ((at + reach).floor().max(-1.0) + 1.0) as usize;
            let mut sum = 0.0;
            for (m, sample) in sound.iter().enumerate().take(last).skip(first) {
                let x = m as f64 - at;
                let window = (std::f64::consts::FRAC_PI_2 * x / reach).cos().powi(2);
                sum += f64::from(*sample) * cutoff * sinc(cutoff * x) * window;
            }
            sum as f32
        })
        .collect()
}

fn sinc(x: f64) -> f64 {
    let x = std::f64::consts::PI * x;
    if x.abs() < 1e-9 { 1.0 } else { x.sin() / x }
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
