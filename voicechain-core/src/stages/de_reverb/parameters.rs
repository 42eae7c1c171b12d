//! What a hop does to a room's sound, from the settings.

/// What a hop of predictor and suppressor needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parameters {
    /// What reverberation keeps of its power in a hop, and from a sound to its late part.
    pub(super) decay_per_hop: f32,
    pub(super) decay_until_late: f32,
    /// Share of the sound that feeds the reverberation: less where the talker is nearer than the critical distance.
    pub(super) reverberant_share: f32,
    /// What the smoothed power that feeds it keeps in a hop.
    pub(super) feed_smoothing: f32,
    /// Weight of the last hop in the prior signal-to-reverberation ratio.
    pub(super) decision_directed_weight: f32,
    /// The lowest gain, where nothing but late sound and noise is heard.
    pub(super) floor: f32,
    /// Share of the suppression, 0 to 1.
    pub(super) strength: f32,
    /// And of what is noise where no room proves true.
    pub(super) noise_only_strength: f32,
    /// How far the suppression depends on a room that can be heard, 0 to 1.
    pub(super) detection_weight: f32,
}
