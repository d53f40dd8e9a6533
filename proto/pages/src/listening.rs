//! A check by listening as data: what is asked, what was heard, what it means.

use serde::Serialize;

/// The check that is under way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListeningPage {
    /// The kind of check, as a word for programs.
    pub kind: &'static str,
    /// Whether two strings sound together; else one after another.
    pub together: bool,
    /// What sounds, in the order in which it is plucked, or from the lower string up.
    pub sounds: Vec<ListeningSound>,
    /// What to do now.
    pub ask: String,
    /// What to listen for.
    pub listen_for: String,
    /// What was found; null until all is heard.
    pub found: Option<String>,
    /// What that means.
    pub means: Option<String>,
    /// Whether all is as it should be.
    pub right: bool,
    /// What spoilt the last pluck.
    pub trouble: Option<String>,
    /// Beats in a second as found, without their sign, where two strings sound together.
    pub beats: Option<f64>,
    /// The same as it is expected.
    pub expected: Option<f64>,
    /// How the two strings swelled together beside their dying away, in even steps of time, 1 the loudest; empty until they
    /// are heard.
    pub swell: Vec<f64>,
    /// The same, in the same steps, as it is when all is in tune; empty where strings sound one after another.
    pub in_tune: Vec<f64>,
}

/// One sound of a check.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListeningSound {
    /// The string, as in `4C`.
    pub name: String,
    /// Its letter alone.
    pub letter: String,
    /// How far above what is expected it was heard, to a tenth of a cent; null until it is.
    pub cents: Option<f64>,
    /// Whether it is the one to be plucked now.
    pub now: bool,
}
