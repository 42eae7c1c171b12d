//! Parameters of the two speakers.

/// Speaker parameters.
pub(super) struct Speaker {
    pub(super) seed: u64,
    pub(super) pitch_hz: f64,
    /// Scale of the pitch contour around its base.
    pub(super) pitch_range: f64,
    /// Scale of the tabulated phone durations.
    pub(super) duration_scale: f64,
    pub(super) female: bool,
    pub(super) breath: f64,
}

pub(super) const HOST: Speaker =
    Speaker { seed: 1, pitch_hz: 188.0, pitch_range: 1.15, duration_scale: 0.98, female: true, breath: 0.5 };
pub(super) const GUEST: Speaker =
    Speaker { seed: 2, pitch_hz: 112.0, pitch_range: 0.9, duration_scale: 1.06, female: false, breath: 0.35 };
