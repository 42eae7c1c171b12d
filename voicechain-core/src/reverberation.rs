//! Decay times that separate dry from reverberant voices: shared by the measurement, the proposal and the de-reverb.

/// Decay time from which reverberation is treated, ms. Most dry recordings measure less; every recording in a room of
/// 260 ms measures more (see tests/standards/DE_REVERB.md).
pub(crate) const DRY_DECAY_MS: f64 = 170.0;
/// True for the decay time of a dry voice, below [`DRY_DECAY_MS`].
pub(crate) fn is_dry(decay_time_s: f64) -> bool {
    decay_time_s < 1e-3 * DRY_DECAY_MS
}

/// Short decay times, ms. Up to the first, reverberation must be detected before it is treated, because dry voices
/// measure as much. From the second on, no detection is required.
pub(crate) const SHORT_DECAY_MS: [f64; 2] = [280.0, 400.0];
/// Transition from medium to long decay times, ms.
pub(crate) const LONG_DECAY_MS: [f64; 2] = [800.0, 1_000.0];
