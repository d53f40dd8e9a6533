//! What was heard of one recording, held against its truth.

use consort_analysis::{Config, Context, Doubt, Heard, Listener, Reading, SampleTime};
use consort_proto::{Hz, SampleRate};
use serde::Serialize;

use crate::recordings::Recording;
use crate::statistics::cpu_seconds;

/// More than this off, cents, is a gross error: another string than the one that sounded.
pub(super) const GROSS_CENTS: f64 = 50.0;
/// A reading belongs to a pluck if its onset lies this near, seconds; an onset counts as found within half of it.
const NEAR_S: f64 = 0.1;

/// What was heard of one recording.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Outcome {
    pub(super) file: String,
    pub(super) condition: String,
    /// The recording from which this one was made by resampling and mixing.
    pub(super) raw: String,
    pub(super) true_string: u8,
    pub(super) true_hz: f64,
    pub(super) truth_sigma: f64,
    pub(super) onset_error_ms: Option<f64>,
    pub(super) string: Option<u8>,
    pub(super) hz: Option<f64>,
    pub(super) cents: Option<f64>,
    pub(super) sigma: Option<f64>,
    pub(super) glide: Option<f64>,
    pub(super) inharmonicity: Option<f64>,
    pub(super) unsure: bool,
    pub(super) why: String,
    pub(super) extra: Vec<Extra>,
    pub(super) nearest_is_right: bool,
    pub(super) lock3_ms: Option<f64>,
    pub(super) lock1_ms: Option<f64>,
    /// The answers while the note unfolded: milliseconds after the pluck and cents from the truth.
    pub(super) track: Vec<(f64, f64)>,
}

/// A reading of which no pluck is known.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Extra {
    /// When it began, seconds after the pluck.
    pub(super) at_s: f64,
    pub(super) string: u8,
    pub(super) settled: bool,
}

impl Outcome {
    /// Whether the answer is off by more than any tuning is, or there is none.
    pub(super) fn gross(&self) -> bool {
        self.cents.is_none_or(|cents| cents.abs() > GROSS_CENTS)
    }

    /// Whether its string was named rightly, with or without a doubt.
    pub(super) fn identified(&self) -> bool {
        self.string == Some(self.true_string)
    }

    /// Whether there is something to look at: it is wrong or doubted, or something was set where nothing was plucked.
    pub(super) fn failed(&self) -> bool {
        self.gross() || self.unsure || self.extra.iter().any(|extra| extra.settled)
    }

    /// Whether another string was named without doubt.
    pub(super) fn silent_gross(&self) -> bool {
        !self.unsure && self.cents.is_some_and(|cents| cents.abs() > GROSS_CENTS)
    }
}

/// Plays `samples` to a listener that expects `context`; gives what it heard and the CPU time that took, seconds.
pub(super) fn listen(samples: &[f32], rate: SampleRate, context: &Context) -> (Vec<Heard>, f64) {
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    listener.set_context(context);
    let mut heard = Vec::new();
    let before = cpu_seconds();
    let clock = std::time::Instant::now();
    for block in samples.chunks(480) {
        listener.push(block);
        while let Some(item) = listener.poll() {
            heard.push(item);
        }
    }
    listener.finish();
    while let Some(item) = listener.poll() {
        heard.push(item);
    }
    let busy = match (before, cpu_seconds()) {
        (Some(before), Some(after)) => after - before,
        _ => clock.elapsed().as_secs_f64(),
    };
    (heard, busy)
}

/// The answers that stand, with what is doubted about them.
pub(super) fn answers(heard: &[Heard]) -> Vec<(Reading, Option<Doubt>)> {
    heard
        .iter()
        .filter_map(|item| match item {
            Heard::Settled(reading) => Some((*reading, None)),
            Heard::Unsure(reading, doubt) => Some((*reading, Some(*doubt))),
            _ => None,
        })
        .collect()
}

/// The string whose target is nearest to a pitch: what the true frequency alone would say.
pub(super) fn nearest_string(context: &Context, hz: Hz) -> Option<u8> {
    let off = |string: &consort_analysis::ExpectedString| hz.cents_above(string.target).abs().0;
    let nearest = context.strings().min_by(|a, b| off(a.1).total_cmp(&off(b.1)));
    nearest.map(|(number, _)| number)
}

/// Hears one recording, of the harp that is expected; gives the CPU time it took beside the outcome.
pub(super) fn hear(
    recording: &Recording,
    samples: &[f32],
    rate: u32,
    context: &Context,
) -> Result<(Outcome, f64), String> {
    let rate = SampleRate::new(rate).map_err(|why| why.to_string())?;
    let truth = Hz::new(recording.hz).map_err(|why| why.to_string())?;
    let (heard, busy) = listen(samples, rate, context);
    Ok((judge(recording, &heard, rate, truth, context), busy))
}

/// Holds what was heard against the truth.
pub(super) fn judge(recording: &Recording, heard: &[Heard], rate: SampleRate, truth: Hz, context: &Context) -> Outcome {
    let after = |onset: SampleTime| onset.seconds(rate) - recording.pluck_s;
    let distance = |onset: SampleTime| after(onset).abs();
    let onsets = heard.iter().filter_map(|item| match item {
        Heard::Onset(onset) => Some(onset.onset),
        _ => None,
    });
    let onset = onsets
        .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
        .filter(|&onset| distance(onset) < NEAR_S / 2.0);
    let finals = answers(heard);
    let at = (0..finals.len())
        .filter(|&at| distance(finals[at].0.onset) < NEAR_S)
        .min_by(|&a, &b| distance(finals[a].0.onset).total_cmp(&distance(finals[b].0.onset)));
    let last = at.map(|at| finals[at]);
    let known = |onset: SampleTime| {
        let plucks = recording.other_plucks_s.iter();
        plucks
            .into_iter()
            .any(|pluck| (onset.seconds(rate) - pluck).abs() < NEAR_S)
    };
    let extra = (0..finals.len())
        .filter(|&other| Some(other) != at && !known(finals[other].0.onset))
        .map(|other| Extra {
            at_s: after(finals[other].0.onset),
            string: finals[other].0.string,
            settled: finals[other].1.is_none(),
        });
    let refused = heard.iter().find_map(|item| match item {
        Heard::Refused(refused) if distance(refused.onset) < NEAR_S => Some(format!("{:?}", refused.why)),
        _ => None,
    });
    let track: Vec<(f64, f64)> = heard
        .iter()
        .filter_map(|item| match item {
            Heard::Provisional(reading) | Heard::Settled(reading) | Heard::Unsure(reading, _) => Some(reading),
            _ => None,
        })
        .filter(|reading| last.is_some_and(|(last, _)| last.onset == reading.onset))
        .map(|reading| (1000.0 * after(reading.time), reading.hz.cents_above(truth).0))
        .collect();
    let lock = |within: f64| {
        let held = track
            .iter()
            .rev()
            .take_while(|(_, cents)| cents.abs() <= within)
            .count();
        let at = track.len().checked_sub(held)?;
        track.get(at).map(|(time, _)| *time)
    };
    Outcome {
        file: recording.file.clone(),
        condition: recording.condition.clone(),
        raw: recording.raw.clone(),
        true_string: recording.string,
        true_hz: recording.hz,
        truth_sigma: recording.truth_sigma,
        onset_error_ms: onset.map(|onset| 1000.0 * after(onset)),
        string: last.map(|(reading, _)| reading.string),
        hz: last.map(|(reading, _)| reading.hz.get()),
        cents: last.map(|(reading, _)| reading.hz.cents_above(truth).0),
        sigma: last.map(|(reading, _)| reading.sigma.0),
        glide: last.map(|(reading, _)| reading.glide.0),
        inharmonicity: last.map(|(reading, _)| reading.inharmonicity),
        unsure: last.is_some_and(|(_, doubt)| doubt.is_some()),
        why: match last {
            Some((_, Some(doubt))) => format!("{doubt:?}"),
            Some((_, None)) => String::new(),
            None => refused.unwrap_or_else(|| "no onset".to_owned()),
        },
        extra: extra.collect(),
        nearest_is_right: nearest_string(context, truth) == Some(recording.string),
        lock3_ms: lock(3.0),
        lock1_ms: lock(1.0),
        track,
    }
}
