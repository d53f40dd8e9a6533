//! Small dense systems: symmetric positive ones of a fit, and the amplitudes of one or two lines.

use consort_transform::Complex;

/// A symmetric matrix with a right side, added up piece by piece.
#[derive(Clone, Debug)]
pub(super) struct Normal {
    size: usize,
    matrix: Vec<f64>,
    pub(super) right: Vec<f64>,
}

impl Normal {
    pub(super) fn new(size: usize) -> Self {
        Self {
            size,
            matrix: vec![0.0; size * size],
            right: vec![0.0; size],
        }
    }

    pub(super) fn add(&mut self, row: usize, column: usize, value: f64) {
        self.matrix[row * self.size + column] += value;
    }

    /// The solution with the diagonal raised by this share of itself, or `None` where the matrix is not positive.
    pub(super) fn solve(&self, damping: f64) -> Option<Vec<f64>> {
        self.solve_for(damping, &self.right)
    }

    /// The same for another right side: by A.-L. Cholesky's factors.
    pub(super) fn solve_for(&self, damping: f64, right: &[f64]) -> Option<Vec<f64>> {
        let size = self.size;
        let mut factor = self.matrix.clone();
        for at in 0..size {
            factor[at * size + at] *= 1.0 + damping;
        }
        for row in 0..size {
            for column in 0..=row {
                let mut sum = factor[row * size + column];
                for k in 0..column {
                    sum -= factor[row * size + k] * factor[column * size + k];
                }
                if row == column {
                    if sum <= 0.0 || !sum.is_finite() {
                        return None;
                    }
                    factor[row * size + row] = sum.sqrt();
                } else {
                    factor[row * size + column] = sum / factor[column * size + column];
                }
            }
        }
        let mut solution = right.to_vec();
        for row in 0..size {
            for k in 0..row {
                solution[row] -= factor[row * size + k] * solution[k];
            }
            solution[row] /= factor[row * size + row];
        }
        for row in (0..size).rev() {
            for k in row + 1..size {
                solution[row] -= factor[k * size + row] * solution[k];
            }
            solution[row] /= factor[row * size + row];
        }
        Some(solution)
    }
}

/// Keeps two lines that lie on one another apart: this share of their energy.
const RIDGE: f64 = 1e-6;

/// The amplitudes with which `lines`, one or two, explain `sound` best.
pub(super) fn amplitudes(lines: &[Vec<Complex<f64>>], sound: &[Complex<f64>]) -> [Complex<f64>; 2] {
    let product =
        |a: &[Complex<f64>], b: &[Complex<f64>]| a.iter().zip(b).map(|(a, b)| a.conj() * b).sum::<Complex<f64>>();
    let none = Complex::default();
    match lines {
        [one] => {
            let own = product(one, one).re * (1.0 + RIDGE);
            [product(one, sound) / own.max(f64::MIN_POSITIVE), none]
        }
        [one, other] => {
            let (a, d) = (
                product(one, one).re * (1.0 + RIDGE),
                product(other, other).re * (1.0 + RIDGE),
            );
            let b = product(one, other);
            let (s, t) = (product(one, sound), product(other, sound));
            let determinant = (a * d - b.norm_sqr()).max(f64::MIN_POSITIVE);
            [(s * d - b * t) / determinant, (t * a - b.conj() * s) / determinant]
        }
        _ => [none, none],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_positive_system_is_solved_and_another_is_refused() {
        let mut normal = Normal::new(2);
        for (row, column, value) in [(0, 0, 4.0), (0, 1, 2.0), (1, 0, 2.0), (1, 1, 3.0)] {
            normal.add(row, column, value);
        }
        normal.right = vec![8.0, 8.0];
        let solution = normal.solve(0.0).expect("positive");
        assert!((solution[0] - 1.0).abs() < 1e-12 && (solution[1] - 2.0).abs() < 1e-12);
        normal.add(1, 1, -3.0);
        assert!(normal.solve(0.0).is_none());
    }

    #[test]
    fn two_lines_are_told_apart() {
        let line = |turn: f64| {
            (0..50)
                .map(|n| Complex::from_polar(1.0, turn * f64::from(n)))
                .collect::<Vec<_>>()
        };
        let lines = [line(0.1), line(0.15)];
        let wanted = [Complex::new(0.5, -1.0), Complex::new(2.0, 0.25)];
        let sound: Vec<_> = (0..50)
            .map(|n| lines[0][n] * wanted[0] + lines[1][n] * wanted[1])
            .collect();
        let found = amplitudes(&lines, &sound);
        assert!(
            (found[0] - wanted[0]).norm() < 1e-3 && (found[1] - wanted[1]).norm() < 1e-3,
            "{found:?}"
        );
    }
}
