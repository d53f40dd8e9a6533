//! `beats`: how often octaves, fifths and fourths beat on a harp in tune, for ears that listen while the pedals are up.

use consort_proto::beats::Interval;
use consort_proto::{Harp, StringNumber, Tuning};
use serde::Serialize;

use crate::pluck::{json, rounded};
use crate::targets::Form;

/// Two strings and what is heard between them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BeatRow {
    /// `octave`, `fifth` or `fourth`.
    pub interval: &'static str,
    /// The lower string, as in `4C`.
    pub lower: String,
    /// The higher string.
    pub higher: String,
    /// Beats in a second on strings without stiffness, positive where the interval is wider than pure.
    pub beats_per_second: f64,
}

/// Intervals that are listened to while tuning: their name, their semitones, and the ratio that would not beat.
const INTERVALS: [(&str, i32, Interval); 3] = [
    ("octave", 12, Interval::OCTAVE),
    ("fifth", 7, Interval::FIFTH),
    ("fourth", 5, Interval::FOURTH),
];

/// The open octaves, fifths and fourths of `harp` under `tuning`, each from its lower string, the lowest first.
pub fn rows(harp: &Harp, tuning: &Tuning) -> Vec<BeatRow> {
    let strings: Vec<(StringNumber, _)> = harp.numbered().collect();
    let mut rows = Vec::new();
    for (_, lower) in strings.iter().rev() {
        for (name, semitones, interval) in INTERVALS {
            let above = |other: &&(StringNumber, &consort_proto::HarpString)| {
                other.1.open.semitones_above_a4() - lower.open.semitones_above_a4() == semitones
            };
            let Some((_, higher)) = strings.iter().find(above) else {
                continue;
            };
            let beats = interval.beats_per_second(tuning.open_target(lower), tuning.open_target(higher));
            rows.push(BeatRow {
                interval: name,
                lower: lower.open.harp_name(),
                higher: higher.open.harp_name(),
                beats_per_second: rounded(beats, 4),
            });
        }
    }
    rows
}

/// The lines of the table.
pub fn lines(rows: &[BeatRow], form: Form) -> Vec<String> {
    let head = match form {
        Form::Table => Some("interval  lower  higher  beats/s"),
        Form::Csv => Some("interval,lower,higher,beats_per_second"),
        Form::Json => None,
    };
    let line = |row: &BeatRow| {
        let BeatRow {
            interval,
            lower,
            higher,
            beats_per_second: beats,
        } = row;
        match form {
            Form::Table if *beats == 0.0 => format!("{interval:<8}  {lower:<5}  {higher:<6}  {:>7}", "none"),
            Form::Table => format!("{interval:<8}  {lower:<5}  {higher:<6}  {beats:>+7.2}"),
            Form::Csv => format!("{interval},{lower},{higher},{beats:.4}"),
            Form::Json => json(row),
        }
    };
    head.map(str::to_owned)
        .into_iter()
        .chain(rows.iter().map(line))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::{ReferencePitch, harp_file};

    /// S. Teki et al., J. Neurosci. 32(35), 12251–12257 (2012), Table 1: beats per second without their sign, to one
    /// decimal; open strings of a pedal harp sound B, Db, Eb, E, Gb, Ab, Bb.
    #[test]
    #[rustfmt::skip]
    fn fifths_and_fourths_beat_as_published_and_octaves_not_at_all() {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        let rows = rows(&harp, &Tuning::default());
        let beats = |interval: &str, lower: &str| {
            let row = rows.iter().find(|row| row.interval == interval && row.lower == lower);
            row.unwrap_or_else(|| panic!("no {interval} on {lower}")).beats_per_second
        };
        for (lower, fourth, fifth) in [
            // The string, then what is published of the note that it sounds open.
            ("4G", 0.8, Some(0.6)),      // F#3
            ("4A", 0.9, Some(0.7)),      // G#3
            ("4B", 1.1, None),           // Bb3, whose fifth no open string sounds.
            ("4D", 1.3, Some(0.9)),      // C#4
        ] {
            assert!((beats("fourth", lower) - fourth).abs() < 0.0505, "{lower}");
            if let Some(fifth) = fifth {
                assert!((beats("fifth", lower) + fifth).abs() < 0.0505, "{lower}");
            }
        }
        assert!(rows.iter().filter(|row| row.interval == "octave").all(|row| row.beats_per_second == 0.0));
    }

    #[test]
    fn beats_follow_the_pitch() {
        let harp = harp_file::preset("lever-22").expect("a preset");
        let at = |hz: f64| {
            let a4 = ReferencePitch::new(hz).expect("a pitch");
            let tuning = Tuning {
                a4,
                ..Tuning::default()
            };
            let row = rows(&harp, &tuning).into_iter().find(|row| row.interval == "fifth");
            row.expect("a fifth").beats_per_second
        };
        assert!((at(442.0) / at(440.0) - 442.0 / 440.0).abs() < 1e-3);
    }
}
