//! What general-purpose pitch estimators did with the same recordings, as data.

/// Where the figures come from.
pub(super) const PEERS_FROM: &str = "general-purpose estimators, as data: each run once over the same 265 recordings with the true moment of \
     the pluck and the range 28 to 3,600 Hz, the answer being the median of its frames weighted by energy and confidence";

/// One estimator; shares in percent, times in milliseconds, errors in cents where they are not gross.
pub(super) struct Peer {
    pub(super) name: &'static str,
    pub(super) gross: f64,
    pub(super) identified: f64,
    pub(super) median_cents: f64,
    pub(super) p95_cents: f64,
    pub(super) lock3: f64,
    pub(super) lock3_ms: f64,
    pub(super) lock1: f64,
    pub(super) lock1_ms: f64,
    /// Share of one core while sound arrives at 48 kHz.
    pub(super) cost: f64,
}

#[rustfmt::skip]
#[allow(clippy::too_many_arguments, reason = "one line of a table each")]
const fn peer(
    name: &'static str, gross: f64, identified: f64, median_cents: f64, p95_cents: f64, lock3_ms: f64, lock3: f64, lock1_ms: f64,
    lock1: f64, cost: f64,
) -> Peer {
    Peer { name, gross, identified, median_cents, p95_cents, lock3, lock3_ms, lock1, lock1_ms, cost }
}

/// The estimators, each with its implementation and the frame length in samples.
#[rustfmt::skip]
pub(super) const PEERS: [Peer; 14] = [
    //                                  gross  string median  95 %    3 cents: ms, %   1 cent: ms, %  cost
    peer("YIN (librosa, 8192)",         30.9,   64.8,   2.85, 13.88,  285.0, 35.5,  335.0, 14.7,    3.2),
    peer("YIN (librosa, 4096)",         22.6,   73.9,   2.78, 11.99,  183.0, 41.1,  218.0,  9.8,    1.7),
    peer("pYIN (librosa, 8192)",        21.5,   73.0,   4.16, 16.13,  205.0, 27.2,  205.0, 10.6,   44.0),
    peer("autocorrelation (parselmouth)", 31.7, 63.0,   1.59, 12.32,  159.0, 46.0,  169.0, 22.3,    1.4),
    peer("cross-correlation (parselmouth)", 30.9, 64.3, 1.73, 12.31,  181.0, 45.3,  196.0, 20.8,   52.1),
    peer("McLeod (pitch-detection, 8192)", 17.4, 77.0,  2.49, 14.15,  261.0, 46.4,  251.0, 16.6,   33.1),
    peer("yinfft (aubio, 8192)",        32.8,   63.9,   2.88, 19.61,  290.0, 35.1,  200.0, 11.7,    0.9),
    peer("multi-comb (aubio, 4096)",    35.5,   60.0,   1.65, 15.14,  170.0, 50.2,  220.0, 22.6,    4.6),
    peer("fast comb (aubio, 8192)",     27.9,   67.0,   0.71,  2.57,  195.0, 70.2,  250.0, 41.5,    2.0),
    peer("spectral autocorr. (aubio, 8192)", 49.1, 45.7, 1.92, 18.82, 280.0, 32.1,  280.0, 14.3,    0.9),
    peer("strongest peak (FFT, 8192)",  39.6,   56.1,   0.50,  2.21,  151.0, 59.2,  191.0, 41.9,    1.8),
    peer("SWIPE' (pysptk)",             21.9,   73.0,   5.92, 30.21,  341.0, 23.0,  886.0,  6.0,   15.9),
    peer("SWIPE' (libf0)",              16.2,   78.7,   8.38, 29.93,  291.0, 14.7,  421.0,  4.5,   25.2),
    peer("CREPE tiny (torchcrepe)",     42.3,   52.2,   5.02, 22.99,   92.0, 18.5,  112.0,  9.1,   25.8),
];
