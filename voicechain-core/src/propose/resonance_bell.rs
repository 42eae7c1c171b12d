//! Bell for a resonance: the depth of the proposed cut, and the trial cut for listening.

use crate::measure::profile::Resonance;

/// Minimum confidence of a candidate for a proposed cut.
pub(super) const MIN_CONFIDENCE: f64 = 0.5;
/// Prominence that is typical of voices without a resonance, dB. Chosen together with [`CUT_SHARE`] (see
/// tests/accuracy/RESULTS.md).
pub(super) const USUAL_PROMINENCE_DB: f64 = 4.0;
/// Share of the excess prominence that is cut.
const CUT_SHARE: f64 = 0.7;
/// Minimum proposed cut, dB (common practice, no source).
pub(super) const MIN_CUT_DB: f64 = 0.5;
/// Prominence from which a cut has that depth, dB.
pub(super) const MIN_PROMINENCE_DB: f64 = USUAL_PROMINENCE_DB + MIN_CUT_DB / CUT_SHARE;
/// Bounds of a bell's Q (common practice, no source).
const BELL_Q: [f64; 2] = [0.7, 4.0];
/// Maximum cut, dB (common practice, no source).
pub(super) const MAX_CUT_DB: f64 = 6.0;
/// Minimum depth of a trial cut, dB: less is hard to hear (common practice, no source).
const MIN_TRIAL_CUT_DB: f64 = 3.0;

/// Depth of the cut for a candidate of full confidence, dB.
fn depth_db(resonance: &Resonance) -> f64 {
    (CUT_SHARE * (resonance.prominence_db - USUAL_PROMINENCE_DB)).min(MAX_CUT_DB)
}

/// Q of the bell for a candidate.
pub(super) fn bell_q(resonance: &Resonance) -> f64 {
    resonance.q.clamp(BELL_Q[0], BELL_Q[1])
}

/// Bell for trying a resonance candidate by ear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialBell {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Gain, dB, below 0.
    pub gain_db: f64,
    /// Q.
    pub q: f64,
}

/// Bell for trying a resonance candidate by ear. Where the candidate alone would be cut, as deep as that cut, before
/// rounding and before the limit on all EQ gains; elsewhere at least 3 dB deep, so that the cut is audible.
#[must_use]
pub fn trial_bell(resonance: &Resonance) -> TrialBell {
    let sure = cut_db(resonance).map(|cut| -cut);
    let depth = sure.unwrap_or_else(|| depth_db(resonance).max(MIN_TRIAL_CUT_DB));
    TrialBell { frequency_hz: resonance.frequency_hz, gain_db: -depth, q: bell_q(resonance) }
}

/// Gain of the proposed cut, dB, below 0; `None` when the candidate is left to the user.
pub(super) fn cut_db(resonance: &Resonance) -> Option<f64> {
    let cut = depth_db(resonance);
    (resonance.confidence >= MIN_CONFIDENCE && cut >= MIN_CUT_DB && is_placed(resonance)).then_some(-cut)
}

/// True where a bell can be placed: from 60 Hz to 8 kHz.
pub(super) fn is_placed(resonance: &Resonance) -> bool {
    (60.0..=8_000.0).contains(&resonance.frequency_hz) && resonance.q > 0.0
}
