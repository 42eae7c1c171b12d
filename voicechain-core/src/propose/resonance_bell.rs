//! The bell for a resonance: how deep the proposal cuts it, and what a person tries by ear.

use crate::measure::profile::Resonance;

/// How sure a candidate must be to be acted on.
const MIN_CONFIDENCE: f64 = 0.5;
/// Prominence that voices have of themselves, dB. With [`CUT_SHARE`] it lowered the error of shape of voices with a +8 dB
/// bell from 2.5 to 2.1 dB and harmed one in a hundred.
pub(super) const USUAL_PROMINENCE_DB: f64 = 4.0;
/// Share of the excess that is cut.
const CUT_SHARE: f64 = 0.7;
/// A cut of less is not worth a bell, dB (common practice, no source).
pub(super) const MIN_CUT_DB: f64 = 0.5;
/// Bounds of a bell's Q (common practice, no source).
const BELL_Q: [f64; 2] = [0.7, 4.0];
/// The deepest cut, dB (common practice, no source).
const MAX_CUT_DB: f64 = 6.0;
/// The shallowest cut that is tried on a candidate by ear, dB: less is hard to hear (common practice, no source).
const MIN_TRIAL_CUT_DB: f64 = 3.0;

/// How deep a candidate would be cut if it were sure, dB.
fn depth_db(resonance: &Resonance) -> f64 {
    (CUT_SHARE * (resonance.prominence_db - USUAL_PROMINENCE_DB)).min(MAX_CUT_DB)
}

/// The Q of the bell for a candidate.
pub(super) fn bell_q(resonance: &Resonance) -> f64 {
    resonance.q.clamp(BELL_Q[0], BELL_Q[1])
}

/// The bell that a person tries on a candidate by ear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialBell {
    /// Its frequency, Hz.
    pub frequency_hz: f64,
    /// Its gain, dB: below 0.
    pub gain_db: f64,
    /// Its Q.
    pub q: f64,
}

/// What the proposal cuts where it is sure; elsewhere the same bell, at least 3 dB deep, so that the cut can be heard.
#[must_use]
pub fn trial_bell(resonance: &Resonance) -> TrialBell {
    let sure = cut_db(resonance).map(|cut| -cut);
    let depth = sure.unwrap_or_else(|| depth_db(resonance).max(MIN_TRIAL_CUT_DB));
    TrialBell { frequency_hz: resonance.frequency_hz, gain_db: -depth, q: bell_q(resonance) }
}

/// How deep a candidate is cut, dB below 0; `None` when it is left to the ear.
pub(super) fn cut_db(resonance: &Resonance) -> Option<f64> {
    let cut = depth_db(resonance);
    let placed = (60.0..=8_000.0).contains(&resonance.frequency_hz) && resonance.q > 0.0;
    (resonance.confidence >= MIN_CONFIDENCE && cut >= MIN_CUT_DB && placed).then_some(-cut)
}
