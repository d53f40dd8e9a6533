//! The transforms against the sum that defines them.

use consort_transform::{Complex, double, single};

/// The definition: the sum of the samples, each turned back by its share of `bin` rounds.
fn bin_of(samples: &[f64], bin: usize) -> Complex<f64> {
    let turn = -std::f64::consts::TAU * bin as f64 / samples.len() as f64;
    samples
        .iter()
        .enumerate()
        .map(|(n, sample)| Complex::from_polar(*sample, turn * n as f64))
        .sum()
}

#[test]
fn both_precisions_are_the_sum_that_defines_them() {
    // A power of two, an odd length, and a prime that has a routine of its own.
    for len in [64, 45, 31] {
        let samples: Vec<f64> = (0..len).map(|n| (0.7 * n as f64).sin() + 0.1 * n as f64).collect();
        let (fine, coarse) = (double(len), single(len));
        let (mut exact, mut near) = (fine.make_output_vec(), coarse.make_output_vec());
        let mut narrow: Vec<f32> = samples.iter().map(|sample| *sample as f32).collect();
        fine.process(&mut samples.clone(), &mut exact).expect("lengths agree");
        coarse.process(&mut narrow, &mut near).expect("lengths agree");
        assert_eq!((exact.len(), near.len()), (len / 2 + 1, len / 2 + 1));
        for bin in 0..exact.len() {
            let wanted = bin_of(&samples, bin);
            assert!((exact[bin] - wanted).norm() < 1e-10, "{len}, {bin}: {}", exact[bin]);
            let found = Complex::new(f64::from(near[bin].re), f64::from(near[bin].im));
            assert!((found - wanted).norm() < 1e-3, "{len}, {bin}: {found}");
        }
    }
}
