//! One pluck as a line: the same facts as an object of JSON, and as a row of a table.

use consort_analysis::Doubt;
use consort_proto::{Harp, Tuning};
use serde::Serialize;

use crate::ear::{Answer, Verdict};

/// One pluck, in the words and the order that programs may rely on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PluckLine {
    /// The file as it was named; `live` for the input, `stdin` for standard input.
    pub file: String,
    /// When the string was plucked, in seconds from the start of the file.
    pub onset_s: f64,
    /// When this answer stood, in seconds from the start of the file: so it includes the delay of hearing.
    pub time_s: f64,
    /// Number of the string, from 1 at the top.
    pub string: u8,
    /// The note of the open string, as in `Cb4`.
    pub note: String,
    /// How many semitones discs or lever raise the string while it is heard. The targets are those of open strings
    /// (pedals in flat, levers down), so it is 0.
    pub position: u8,
    /// Pitch of the string.
    pub hz: f64,
    /// The pitch it should have in this position.
    pub target_hz: f64,
    /// How far the one lies above the other.
    pub cents: f64,
    /// One standard deviation of the pitch.
    pub sigma_cents: f64,
    /// How far the pitch moved while it was measured; negative when it fell.
    pub glide_cents: f64,
    /// B of fₙ = n·f₀·√(1 + B·n²).
    pub inharmonicity: f64,
    /// Level of the first 0.1 s.
    pub level_dbfs: f64,
    /// `settled`, `provisional` or `unsure`.
    pub verdict: &'static str,
    /// Why it is unsure.
    pub why: Option<&'static str>,
}

impl PluckLine {
    /// The line of `answer`, judged by `tuning`; `None` for a string that the harp does not have.
    pub fn new(file: &str, answer: &Answer, harp: &Harp, tuning: &Tuning) -> Option<Self> {
        let string = harp.string(answer.string)?;
        let target = tuning.open_target(string);
        let (verdict, why) = match answer.verdict {
            Verdict::Settled => ("settled", None),
            Verdict::Provisional => ("provisional", None),
            Verdict::Unsure(doubt) => ("unsure", Some(reason(doubt))),
        };
        Some(Self {
            file: file.to_owned(),
            onset_s: rounded(answer.onset_s, 4),
            time_s: rounded(answer.time_s, 4),
            string: answer.string.get(),
            note: string.open.to_string(),
            position: 0,
            hz: rounded(answer.hz.get(), 5),
            target_hz: rounded(target.get(), 5),
            cents: rounded(answer.hz.cents_above(target).0, 3),
            sigma_cents: rounded(answer.sigma.0, 3),
            glide_cents: rounded(answer.glide.0, 3),
            inharmonicity: rounded(answer.inharmonicity, 8),
            level_dbfs: rounded(answer.level_dbfs, 1),
            verdict,
            why,
        })
    }

    /// The line as JSON.
    pub fn json(&self) -> String {
        json(self)
    }

    /// The row of the table under [`TABLE_HEAD`]; `name` is the harpist's name of the string.
    pub fn row(&self, name: &str) -> String {
        let doubt = self.why.map(|why| format!(": {why}")).unwrap_or_default();
        format!(
            "{:8.2}  {:>6}  {name:<5} {:<4}  {:>10.3}  {:>+8.2}  {:>6.2}  {}{doubt}",
            self.onset_s, self.string, self.note, self.hz, self.cents, self.sigma_cents, self.verdict,
        )
    }
}

/// The head of a table of plucks.
pub const TABLE_HEAD: &str = " onset/s  string  name  note        Hz     cents      ±  verdict";

/// Any line of output as JSON.
pub fn json(line: &impl Serialize) -> String {
    serde_json::to_string(line).unwrap_or_else(|_| unreachable!("lines are plain numbers and text"))
}

/// Why a reading is unsure, in a few words.
pub const fn reason(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Which => "another string fits nearly as well",
        Doubt::FarFromAll => "far from every string",
        Doubt::Scattered => "the partials do not agree",
        Doubt::Turned => "it moved while it sounded",
        Doubt::Faint => "too faint",
        Doubt::Soft => "much softer than the harp usually is",
        Doubt::TooShort => "it stopped too soon",
        Doubt::NotAlone => "something else sounds too",
        _ => "not sure",
    }
}

/// `number` with `digits` after the point.
pub(crate) fn rounded(number: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    let rounded = (number * scale).round() / scale;
    // Zero has no sign on paper.
    if rounded == 0.0 { 0.0 } else { rounded }
}
