//! What is known of harp strings in general, by pitch: how stiff they are and which partials to expect.

/// Inharmonicity B to expect of a string by the frequency of its first partial.
///
/// Straight lines between these points on logarithmic scales.
/// Wound and gut strings have some 1e-4 with little trend; towards the top nylon strings get as thick as they are short.
/// Source: the plain round string B = π²·E·d²/(64·ρ·L⁴·f₀²) (H. Fletcher, JASA 36, 1964, 203–209) with usual dimensions,
/// and what the recordings of this project show.
const STIFFNESS: [(f64, f64); 5] = [
    (30.0, 1e-4),
    (120.0, 1e-4),
    (500.0, 1.2e-4),
    (1000.0, 2.2e-4),
    (3000.0, 1.5e-3),
];

/// The inharmonicity B of fₙ = n·f₀·√(1 + B·n²) to expect of a harp string of this pitch, dimensionless.
pub fn expected_inharmonicity(hz: consort_proto::Hz) -> f64 {
    expected_stiffness(hz.get())
}

/// The inharmonicity to expect of a string whose first partial is at `hz`.
pub(crate) fn expected_stiffness(hz: f64) -> f64 {
    let x = hz.ln();
    let mut below = STIFFNESS[0];
    for &above in &STIFFNESS {
        if hz < above.0 {
            if above.0 <= below.0 {
                return above.1;
            }
            let share = (x - below.0.ln()) / (above.0.ln() - below.0.ln());
            return (below.1.ln() + share * (above.1.ln() - below.1.ln())).exp();
        }
        below = above;
    }
    below.1
}

/// Frequency of partial `n` relative to the first one: n·√((1 + B·n²)/(1 + B)).
pub(crate) fn partial_ratio(n: usize, stiffness: f64) -> f64 {
    let n = n as f64;
    n * ((1.0 + stiffness * n * n) / (1.0 + stiffness)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stiffness_follows_its_table() {
        assert!((expected_stiffness(20.0) - 1e-4).abs() < 1e-9);
        assert!((expected_stiffness(1000.0) - 2.2e-4).abs() < 1e-9);
        assert!((expected_stiffness(5000.0) - 1.5e-3).abs() < 1e-9);
    }

    /// 1200·log2 √((1 + B·n²)/(1 + B)) for B = 0.001 and n = 4 is 12.8751 cents.
    #[test]
    fn stiff_partials_are_sharp() {
        let cents = 1200.0 * (partial_ratio(4, 1e-3) / 4.0).log2();
        assert!((cents - 12.8751).abs() < 5e-5, "{cents}");
    }
}
