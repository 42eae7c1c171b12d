//! Per-hop parameters of the de-reverb, derived from the settings.

use crate::blank::blank;

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

blank! {
    Parameters {
        decay_per_hop, decay_until_late, reverberant_share, feed_smoothing, decision_directed_weight, floor, strength,
        noise_only_strength, detection_weight,
    }
}

impl Parameters {
    /// True if all parameters are within their ranges.
    pub(super) fn is_stable(&self) -> bool {
        let Self {
            decay_per_hop,
            decay_until_late,
            reverberant_share,
            feed_smoothing,
            decision_directed_weight,
            floor,
            strength,
            noise_only_strength,
            detection_weight,
        } = self;
        [decay_per_hop, decay_until_late, feed_smoothing, decision_directed_weight]
            .iter()
            .all(|kept| (0.0..1.0).contains(*kept))
            && [reverberant_share, floor, strength, noise_only_strength, detection_weight]
                .iter()
                .all(|share| (0.0..=1.0).contains(*share))
    }

    /// Parameters between two others, at `t` from 0 to 1.
    pub(super) fn interpolated(&self, to: &Self, t: f32) -> Self {
        let mix = |of: fn(&Self) -> f32| of(self) + (of(to) - of(self)) * t;
        Self {
            decay_per_hop: mix(|p| p.decay_per_hop),
            decay_until_late: mix(|p| p.decay_until_late),
            reverberant_share: mix(|p| p.reverberant_share),
            feed_smoothing: mix(|p| p.feed_smoothing),
            decision_directed_weight: mix(|p| p.decision_directed_weight),
            floor: mix(|p| p.floor),
            strength: mix(|p| p.strength),
            noise_only_strength: mix(|p| p.noise_only_strength),
            detection_weight: mix(|p| p.detection_weight),
        }
    }
}
