//! A picture of what was heard where something went wrong: the sound before and after the pluck, where the partials of the true
//! and of the named string should lie, and how the answer came about.

use std::f64::consts::TAU;
use std::fmt::Write as _;
use std::path::Path;

use super::outcome::Outcome;

const WIDE: f64 = 960.0;
const MARGIN: f64 = 48.0;
/// Heights of the spectrum and of the course of the answer, and where each begins.
const SPECTRUM: (f64, f64) = (40.0, 260.0);
const COURSE: (f64, f64) = (380.0, 160.0);
/// The frequencies that are drawn, on a scale of equal intervals.
const BAND_HZ: (f64, f64) = (28.0, 5_000.0);
const POINTS: usize = 700;
/// The levels that are drawn, decibels of full scale.
const LEVELS_DB: (f64, f64) = (-110.0, -10.0);
/// The stretches of sound, seconds from the pluck.
const BEFORE_S: (f64, f64) = (-0.28, -0.02);
const AFTER_S: (f64, f64) = (0.03, 0.43);
/// The course of the answer: so many milliseconds, and cents either way.
const COURSE_MS: f64 = 1_700.0;
const COURSE_CENTS: f64 = 30.0;
/// Partials that are marked.
const MARKED: usize = 12;

/// Writes the picture of `outcome`, heard in `samples`, into `folder`.
pub(super) fn write(folder: &Path, outcome: &Outcome, samples: &[f32], rate: u32, pluck_s: f64) -> Result<(), String> {
    let name = outcome.file.replace(['/', '\\'], "-");
    let path = folder.join(format!("{name}.svg"));
    std::fs::write(&path, draw(outcome, samples, f64::from(rate), pluck_s))
        .map_err(|why| format!("cannot write {}: {why}", path.display()))
}

fn draw(outcome: &Outcome, samples: &[f32], rate: f64, pluck_s: f64) -> String {
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDE} 580\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
    );
    let named = outcome
        .string
        .map_or("nothing named".to_owned(), |string| format!("string {string} named"));
    let off = outcome
        .cents
        .map_or(String::new(), |cents| format!(", {cents:+.2} cents off"));
    let title = format!(
        "{} ({}): string {} at {:.2} Hz, {named}{off} {}",
        outcome.file, outcome.condition, outcome.true_string, outcome.true_hz, outcome.why
    );
    text(&mut svg, MARGIN, 24.0, &title);
    let spectrum = |from: (f64, f64)| {
        let at = |second: f64| (((pluck_s + second) * rate).max(0.0) as usize).min(samples.len());
        let stretch = &samples[at(from.0)..at(from.1)];
        let points = (0..=POINTS).map(|point| {
            let share = point as f64 / POINTS as f64;
            let hz = BAND_HZ.0 * (BAND_HZ.1 / BAND_HZ.0).powf(share);
            (across(hz), level_y(level_db(stretch, hz / rate)))
        });
        points.collect::<Vec<_>>()
    };
    line(&mut svg, &spectrum(BEFORE_S), "#b8b8b8", "before the pluck");
    line(&mut svg, &spectrum(AFTER_S), "#1b1b1b", "after the pluck");
    let bottom = SPECTRUM.0 + SPECTRUM.1;
    for (first, y, colour, whose) in [
        (
            Some(outcome.true_hz),
            bottom + 4.0,
            "#1668b8",
            "partials of the true string",
        ),
        (
            outcome.hz,
            bottom + 20.0,
            "#c05a00",
            "partials of the string that was named",
        ),
    ] {
        let Some(first) = first else { continue };
        for hz in (1..=MARKED).map(|n| n as f64 * first).take_while(|hz| *hz < BAND_HZ.1) {
            let x = across(hz);
            line(&mut svg, &[(x, y), (x, y + 12.0)], colour, whose);
        }
        text(&mut svg, WIDE - 300.0, y + 11.0, whose);
    }
    course(&mut svg, outcome);
    svg.push_str("</svg>\n");
    svg
}

/// How the answer came about, beside the truth.
fn course(svg: &mut String, outcome: &Outcome) {
    let x = |ms: f64| MARGIN + (ms / COURSE_MS).clamp(0.0, 1.0) * (WIDE - 2.0 * MARGIN);
    let middle = COURSE.0 + 0.5 * COURSE.1;
    let y = |cents: f64| middle - (cents / COURSE_CENTS).clamp(-1.0, 1.0) * 0.5 * COURSE.1;
    for cents in [-COURSE_CENTS, 0.0, COURSE_CENTS] {
        let level = y(cents);
        line(svg, &[(x(0.0), level), (x(COURSE_MS), level)], "#dddddd", "");
        text(svg, 4.0, level + 4.0, &format!("{cents:+.0}"));
    }
    let points: Vec<_> = outcome.track.iter().map(|&(ms, cents)| (x(ms), y(cents))).collect();
    line(svg, &points, "#c05a00", "answers, cents from the truth");
    text(
        svg,
        MARGIN,
        COURSE.0 + COURSE.1 + 24.0,
        "answers in cents from the truth, over 1.7 seconds from the pluck",
    );
}

fn across(hz: f64) -> f64 {
    MARGIN + (hz / BAND_HZ.0).ln() / (BAND_HZ.1 / BAND_HZ.0).ln() * (WIDE - 2.0 * MARGIN)
}

fn level_y(db: f64) -> f64 {
    let share = (db - LEVELS_DB.0) / (LEVELS_DB.1 - LEVELS_DB.0);
    SPECTRUM.0 + SPECTRUM.1 * (1.0 - share.clamp(0.0, 1.0))
}

/// Level of a tone of so many turns a sample in a stretch, under a raised cosine, decibels of full scale.
fn level_db(stretch: &[f32], turns: f64) -> f64 {
    let length = stretch.len().max(1) as f64;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, sample) in stretch.iter().enumerate() {
        let window = 1.0 - (TAU * (n as f64 + 0.5) / length).cos();
        let (sin, cos) = (TAU * turns * n as f64).sin_cos();
        re += window * f64::from(*sample) * cos;
        im += window * f64::from(*sample) * sin;
    }
    10.0 * ((re * re + im * im) * 4.0 / (length * length)).max(1e-15).log10()
}

fn line(svg: &mut String, points: &[(f64, f64)], colour: &str, title: &str) {
    let mut path = String::new();
    for (x, y) in points {
        let _ = write!(path, "{x:.1},{y:.1} ");
    }
    let _ = writeln!(
        svg,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\"><title>{title}</title></polyline>",
        path.trim_end()
    );
}

fn text(svg: &mut String, x: f64, y: f64, what: &str) {
    let what = what.replace('&', "&amp;").replace('<', "&lt;");
    let _ = writeln!(svg, "<text x=\"{x:.1}\" y=\"{y:.1}\">{what}</text>");
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of half the full scale's amplitude lies 6 dB below it; one elsewhere is not there.
    #[test]
    fn a_tone_is_told_by_its_amplitude() {
        let tone: Vec<f32> = (0..19_200)
            .map(|n| (0.5 * (TAU * 0.01 * f64::from(n)).sin()) as f32)
            .collect();
        assert!((level_db(&tone, 0.01) + 6.02).abs() < 0.01);
        assert!(level_db(&tone, 0.02) < -60.0);
    }
}
