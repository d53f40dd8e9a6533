//! Middles, spreads and lines that a few strings gone astray do not move.

/// The median; `None` of nothing. Sorts `values`.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => None,
        even if even % 2 == 0 => Some(f64::midpoint(values[half - 1], values[half])),
        _ => values.get(half).copied(),
    }
}

/// How far values lie from 0 in the median, scaled so that it is one standard deviation of normal values.
pub(crate) fn spread(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut distances: Vec<f64> = values.map(f64::abs).collect();
    median(&mut distances).map(|middle| MAD_TO_SIGMA * middle)
}

/// One standard deviation of normal values over the median of their distances from the middle.
const MAD_TO_SIGMA: f64 = 1.4826;

/// A straight line through most of the points.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Line {
    pub(crate) level: f64,
    pub(crate) slope: f64,
    /// One standard deviation of the points around it.
    pub(crate) scale: f64,
}

impl Line {
    pub(crate) fn at(self, x: f64) -> f64 {
        self.level + self.slope * x
    }
}

/// Points from which a slope is taken at all; fewer give a level only.
const SLOPE_FROM: usize = 6;
/// A slope is held back as if it were known to be 0 to this many cents over half a material's compass.
const SLOPE_PRIOR: f64 = 1.5;
/// Tukey's constant: points beyond so many standard deviations have no say; 95 % as good as least squares on normal ones.
const TUKEY: f64 = 4.685;
/// Scales below this, cents, are luck.
const SCALE_MIN: f64 = 0.2;

/// The line through most of `points`, by Tukey's biweight from the median on; x lies within −1 and 1.
///
/// Source: Huber & Ronchetti, Robust Statistics, 2nd ed., 2009, chapter 7.
pub(crate) fn line(points: &[(f64, f64)]) -> Option<Line> {
    let level = median(&mut points.iter().map(|point| point.1).collect::<Vec<_>>())?;
    let mut line = Line {
        level,
        slope: 0.0,
        scale: SCALE_MIN,
    };
    let with_slope = points.len() >= SLOPE_FROM;
    for _ in 0..6 {
        let scale = spread(points.iter().map(|&(x, y)| y - line.at(x))).unwrap_or(SCALE_MIN);
        line.scale = scale.max(SCALE_MIN);
        let (mut s0, mut sx, mut sxx, mut sy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for &(x, y) in points {
            let z = (y - line.at(x)) / (TUKEY * line.scale);
            if z.abs() < 1.0 {
                let weight = (1.0 - z * z).powi(2);
                s0 += weight;
                sx += weight * x;
                sxx += weight * x * x;
                sy += weight * y;
                sxy += weight * x * y;
            }
        }
        if s0 < 1e-9 {
            break;
        }
        if with_slope {
            sxx += (line.scale / SLOPE_PRIOR).powi(2);
            let determinant = s0 * sxx - sx * sx;
            if determinant > 1e-9 {
                line.slope = (s0 * sxy - sx * sy) / determinant;
            }
        }
        line.level = (sy - line.slope * sx) / s0;
    }
    Some(line)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_of_the_strings_gone_astray_does_not_move_the_line() {
        let points: Vec<(f64, f64)> = (0..30)
            .map(|i| {
                let x = f64::from(i) / 15.0 - 1.0;
                let wobble = if i % 2 == 0 { 0.3 } else { -0.3 };
                (x, if i % 3 == 1 { -40.0 } else { 2.0 + x + wobble })
            })
            .collect();
        let line = line(&points).expect("a line");
        assert!(
            (line.level - 2.0).abs() < 0.2 && (line.slope - 1.0).abs() < 0.3,
            "{line:?}"
        );
    }

    #[test]
    fn the_median_of_nothing_is_nothing() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0, 1.0]), Some(2.0));
        assert_eq!(line(&[]), None);
    }
}
