//! Per-hop parameters of the de-reverb, derived from the settings.

/// Parameters of the predictor and the suppressor for one hop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parameters {
    /// Share of its power that reverberation keeps over one hop.
    pub(super) decay_per_hop: f32,
    /// Share of its power that reverberation keeps from the direct sound to the late reverberation.
    pub(super) decay_until_late: f32,
    /// Share of the sound that feeds the reverberation. Smaller for talkers within the critical distance.
    pub(super) reverberant_share: f32,
    /// One-pole coefficient per hop of the smoothed power that feeds the reverberation.
    pub(super) feed_smoothing: f32,
    /// Weight of the previous hop in the prior signal-to-reverberation ratio.
    pub(super) decision_directed_weight: f32,
    /// Lowest gain: the range, reached where only late reverberation and noise are present.
    pub(super) floor: f32,
    /// Strength of the suppression, 0 to 1.
    pub(super) strength: f32,
    /// Strength of the noise suppression where no reverberation is detected, 0 to 1.
    pub(super) noise_only_strength: f32,
    /// Degree to which the suppression depends on detected reverberation, 0 to 1.
    pub(super) detection_weight: f32,
}
