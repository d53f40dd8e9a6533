//! Recordings of known truth: a folder of sound files with a table.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// One recording and what is known of it.
#[derive(Clone, Debug)]
pub(crate) struct Recording {
    pub(crate) path: PathBuf,
    pub(crate) file: String,
    /// What surrounds the string: `clean`, `ring`, `hum` and so on.
    pub(crate) condition: String,
    /// Number of the string from the top of 47.
    pub(crate) string: u8,
    pub(crate) a4: f64,
    /// True frequency, and its standard deviation in cents.
    pub(crate) hz: f64,
    pub(crate) truth_sigma: f64,
    /// When the string is plucked, seconds from the start.
    pub(crate) pluck_s: f64,
    /// When other strings are plucked, seconds from the start, as far as the table says.
    pub(crate) other_plucks_s: Vec<f64>,
    /// The recording from which this one was made by resampling and mixing; its own name where the table has none.
    pub(crate) raw: String,
}

/// Reads the table `manifest.csv` in `folder`; its columns are found by their names.
pub(crate) fn read_manifest(folder: &Path) -> Result<Vec<Recording>, String> {
    let path = folder.join("manifest.csv");
    let text = std::fs::read_to_string(&path).map_err(|why| format!("cannot read {}: {why}", path.display()))?;
    let mut lines = text.lines();
    let header: BTreeMap<&str, usize> = lines.next().unwrap_or("").split(',').zip(0..).collect();
    let mut recordings = Vec::new();
    for (number, line) in (2..).zip(lines) {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |name: &str| {
            let cell = header.get(name).and_then(|&at| cells.get(at)).copied();
            cell.ok_or_else(|| format!("{} line {number} has no {name}", path.display()))
        };
        let value = |name: &str| {
            let cell = cell(name)?;
            cell.parse::<f64>()
                .map_err(|_| format!("{} line {number}: {name} is {cell}", path.display()))
        };
        let optional = |name: &str| cell(name).ok().filter(|cell| !cell.is_empty());
        recordings.push(Recording {
            path: folder.join(cell("file")?),
            file: cell("file")?.to_owned(),
            condition: cell("cond")?.to_owned(),
            // The table counts from the bottom.
            string: 48 - value("string_index")? as u8,
            a4: value("a4")?,
            hz: value("hz")?,
            truth_sigma: value("truth_sigma_cents")?,
            pluck_s: value("pluck_s")?,
            other_plucks_s: optional("other_pluck_s")
                .and_then(|cell| cell.parse().ok())
                .into_iter()
                .collect(),
            raw: optional("raw_id").map_or(cell("file")?, |raw| raw).to_owned(),
        });
    }
    Ok(recordings)
}

/// The samples of a mono recording, full scale ±1.0, and its rate.
pub(crate) fn read_samples(path: &Path) -> Result<(Vec<f32>, u32), String> {
    let fail = |why: claxon::Error| format!("cannot read {}: {why}", path.display());
    let mut reader = claxon::FlacReader::open(path).map_err(fail)?;
    let info = reader.streaminfo();
    let full = (1_u32 << (info.bits_per_sample - 1)) as f32;
    let samples: Result<Vec<f32>, _> = reader
        .samples()
        .map(|sample| sample.map(|value| value as f32 / full))
        .collect();
    Ok((samples.map_err(fail)?, info.sample_rate))
}

/// The same sound `cents` higher and as much shorter, as if the string were plucked again and had moved.
pub(crate) fn higher(samples: &[f32], cents: f64) -> Vec<f32> {
    let stretch = 2_f64.powf(cents / 1_200.0);
    let last = samples.len().saturating_sub(1);
    (0..(samples.len() as f64 / stretch) as usize)
        .map(|n| samples[((n as f64 * stretch) as usize).min(last)])
        .collect()
}

/// How loud a pluck begins that is as loud as all others, decibels below full scale, and over which time that is taken,
/// seconds.
const AS_LOUD_DBFS: f64 = -20.0;
const BEGINS_S: f64 = 0.1;

/// The `samples` of a recording, as loud as those of all others: a harp is played evenly, and what is much softer is taken
/// for another one.
pub(crate) fn as_loud(recording: &Recording, samples: &[f32], rate: u32) -> Vec<f32> {
    let place = |time_s: f64| ((time_s * f64::from(rate)) as usize).min(samples.len());
    let begins = &samples[place(recording.pluck_s)..place(recording.pluck_s + BEGINS_S)];
    let power = begins.iter().map(|&sample| f64::from(sample).powi(2)).sum::<f64>() / begins.len().max(1) as f64;
    let gain = 10_f64.powf(AS_LOUD_DBFS / 20.0) / power.sqrt().max(f64::EPSILON);
    samples
        .iter()
        .map(|&sample| (f64::from(sample) * gain) as f32)
        .collect()
}
