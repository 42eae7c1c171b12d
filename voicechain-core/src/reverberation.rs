//! Decay times that tell rooms apart: where the de-reverb acts, and where it is proposed.

/// Decay time at which a room begins to be treated, ms: 29 of the 35 voices without any room of both halves read less than
/// this, all 35 more in a room of 260 ms.
pub(crate) const DRY_DECAY_MS: f64 = 170.0;
/// Up to the first decay time, ms, a room is short, and has to be proved: voices without any room read as much. From the
/// other on nothing has to be proved.
pub(crate) const SHORT_DECAY_MS: [f64; 2] = [280.0, 400.0];
/// Between these decay times, ms, a room becomes a long one.
pub(crate) const LONG_DECAY_MS: [f64; 2] = [800.0, 1_000.0];
