//! Speech segment: constant synthesis targets, with optional noise.

/// Noise of a fricative or burst: centres (Hz) and Q of two band-passes in series.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Noise {
    pub(super) centres: [f64; 2],
    pub(super) q: f64,
    /// Level relative to the vowels, dB.
    pub(super) level_db: f64,
    pub(super) burst: bool,
    pub(super) sibilant: bool,
}

/// Segment with constant synthesis targets.
#[derive(Clone, Copy)]
pub(super) struct Segment {
    pub(super) start_s: f64,
    pub(super) length_s: f64,
    pub(super) formants: [f64; 3],
    /// Formant bandwidths relative to those of a vowel.
    pub(super) bandwidth: f64,
    pub(super) voice: f64,
    pub(super) breath: f64,
    pub(super) noise: Option<(Noise, f64)>,
    pub(super) stressed: bool,
    pub(super) vowel: bool,
    pub(super) is_pause: bool,
}
