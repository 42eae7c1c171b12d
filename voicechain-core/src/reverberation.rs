//! Decay times that separate dry from reverberant voices: shared by the de-reverb and by its proposal.

/// Decay time from which reverberation is treated, ms. Most dry recordings measure less; every recording in a room of
/// 260 ms measures more (see tests/standards/DE_REVERB.md).
pub(crate) const DRY_DECAY_MS: f64 = 170.0;
/// Short decay times, ms. Up to the first, reverberation must be detected before it is treated, because dry voices
/// measure as much. From the second on, no detection is required.
pub(crate) const SHORT_DECAY_MS: [f64; 2] = [280.0, 400.0];
/// Transition from medium to long decay times, ms.
pub(crate) const LONG_DECAY_MS: [f64; 2] = [800.0, 1_000.0];
