//! How a listener is set up.

use consort_proto::SampleRate;

/// What a listener has to know about its input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Samples per second of the input. Anything that [`SampleRate`] holds is taken; below 16 kHz the top octave is
    /// judged by its first partial alone.
    pub rate: SampleRate,
    /// A pluck whose reading is less certain than this many cents is unsure instead of settled.
    pub sigma_max_cents: f64,
}

impl Default for Config {
    /// 48 kHz, as most interfaces prefer, and readings certain to 4 cents.
    fn default() -> Self {
        Self {
            rate: SampleRate::STUDIO,
            sigma_max_cents: 4.0,
        }
    }
}
