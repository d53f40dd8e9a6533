//! Window functions.

use std::f64::consts::TAU;

/// The Hann window of `len` samples, periodic, mean one half.
pub(crate) fn hann(len: usize) -> Vec<f32> {
    let mut window = Vec::with_capacity(len);
    hann_into(&mut window, len);
    window
}

/// The same into `window`, which allocates only where its capacity is less than `len`.
pub(crate) fn hann_into(window: &mut Vec<f32>, len: usize) {
    window.clear();
    window.extend((0..len).map(|n| (0.5 - 0.5 * (TAU * (n as f64 + 0.5) / len as f64).cos()) as f32));
}

/// The Kaiser window of `len` samples with shape `beta`, peak 1.
///
/// Source: J. F. Kaiser, "Nonrecursive Digital Filter Design Using the I0-sinh Window Function", ISCAS 1974.
pub(crate) fn kaiser(len: usize, beta: f64) -> Vec<f64> {
    let middle = (len as f64 - 1.0) / 2.0;
    let scale = bessel_i0(beta);
    (0..len)
        .map(|n| {
            let x = if middle > 0.0 {
                (n as f64 - middle) / middle
            } else {
                0.0
            };
            bessel_i0(beta * (1.0 - x * x).max(0.0).sqrt()) / scale
        })
        .collect()
}

/// The modified Bessel function of the first kind of order zero, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..60 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// I0(1) and I0(5) from Abramowitz and Stegun, table 9.8.
    #[test]
    fn the_bessel_function_matches_the_tables() {
        assert!((bessel_i0(1.0) - 1.266_065_878).abs() < 1e-9);
        assert!((bessel_i0(5.0) - 27.239_871_82).abs() < 1e-7);
    }
}
