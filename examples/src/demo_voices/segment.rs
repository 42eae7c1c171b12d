//! The smallest piece of speech: a stretch of constant targets, with its noise.

/// Noise of a fricative or burst: centres and quality of two band-passes in series.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Noise {
    pub(super) centres: [f64; 2],
    pub(super) q: f64,
    /// Level re vowels in dB.
    pub(super) level_db: f64,
    pub(super) burst: bool,
    pub(super) sibilant: bool,
}

/// A stretch of constant targets.
#[derive(Clone, Copy)]
pub(super) struct Segment {
    pub(super) start_s: f64,
    pub(super) length_s: f64,
    pub(super) formants: [f64; 3],
    /// Bandwidths relative to those of a vowel.
    pub(super) bandwidth: f64,
    pub(super) voice: f64,
    pub(super) breath: f64,
    pub(super) noise: Option<(Noise, f64)>,
    pub(super) stressed: bool,
    pub(super) vowel: bool,
    pub(super) is_pause: bool,
}
