//! Tone EQ: corrects the low end and the presence beyond the typical spread of voices.

use super::known::{finite, known};
use super::tone_budget::{MAX_TOTAL_GAIN_DB, ToneBudget};
use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::context::{Context, ContextReason, Role};
use crate::propose::proposal::Proposal;
use crate::settings::StageId;

/// Mean and standard deviation of clean voices relative to published speech below 250 Hz, dB.
const LOW_END_DB: [f64; 2] = [-1.4, 4.0];
/// The same from 2 to 5 kHz.
const PRESENCE_DB: [f64; 2] = [1.9, 3.9];
/// Maximum boost and cut by one tone rule, dB (common practice, no source).
const MAX_TONE_GAIN_DB: f64 = 2.0;
/// Deviation beyond one standard deviation whose correction rounds to 0 dB, dB.
const ROUNDED_TO_ZERO_DB: f64 = 0.5;
/// Excess sibilance at which presence is not boosted, dB; half of it halves the boost (common practice, no source).
const NO_BOOST_AT_EXCESS_DB: f64 = 5.0;
/// Bandwidth that a presence boost requires, Hz.
const PRESENCE_NEEDS_HZ: f64 = 6_000.0;
const LOW_END_SOURCE: &str = "measured on 16 clean voices against Byrne et al. 1994";
const PRESENCE_SOURCE: &str = "measured on 15 clean voices against Byrne et al. 1994";

/// A correction of one deviation, with its cause: what was the last to change it.
struct Correction {
    gain_db: f64,
    cause: Cause,
}

impl Correction {
    /// Half of the deviation beyond one standard deviation with the opposite sign, in steps of 0.5 dB, limited.
    fn new(quantity: &'static str, deviation: f64, [mean, spread]: [f64; 2], source: &'static str) -> Self {
        let beyond = deviation - mean;
        let beyond = beyond - beyond.clamp(-spread, spread);
        let (reference_words, reference) = if deviation < mean {
            ("a boost is proposed below", mean - spread - ROUNDED_TO_ZERO_DB)
        } else {
            ("a cut is proposed above", mean + spread + ROUNDED_TO_ZERO_DB)
        };
        let cause = Cause { reference_words, source, ..Cause::new(quantity, deviation, reference, "dB") };
        let mut correction = Self { gain_db: libm::round(-beyond) * 0.5, cause };
        let limited = correction.gain_db.clamp(-MAX_TONE_GAIN_DB, MAX_TONE_GAIN_DB);
        correction.limit(limited, "a change of the tone is at most", MAX_TONE_GAIN_DB);
        correction
    }

    /// Replaces the gain; the limit becomes the cause if it changes the gain.
    fn limit(&mut self, gain_db: f64, reference_words: &'static str, reference: f64) {
        if gain_db != self.gain_db {
            self.gain_db = gain_db;
            self.cause = Cause { reference_words, reference: Some(reference), source: COMMON_PRACTICE, ..self.cause };
        }
    }

    /// Replaces the gain for a reason of the context.
    fn forbid_boost_over_music(&mut self) {
        if self.gain_db > 0.0 {
            self.gain_db = 0.0;
            let context = Some(ContextReason::OverMusic);
            self.cause = Cause {
                context,
                reference_words: "a boost is for a voice alone",
                reference: None,
                source: COMMON_PRACTICE,
                ..self.cause
            };
        }
    }

    /// Decides the setting within the limit on the sum of all gains. Returns the cause where the gain stays at 0 dB.
    fn decide(mut self, proposal: &mut Proposal, setting: &'static str, confidence: f64) -> Option<Cause> {
        let gain_db = ToneBudget::after(proposal).limit(self.gain_db);
        self.limit(gain_db, "the gains of both EQs add up to at most", MAX_TOTAL_GAIN_DB);
        let cause = Cause { confidence, ..self.cause };
        if self.gain_db == 0.0 {
            return Some(cause);
        }
        proposal.decide(cause, setting, self.gain_db);
        None
    }
}

/// Proposes low end for a solo voice that lacks it, and presence for a dull voice, unless sibilance or the bandwidth
/// forbids it. Cuts where either is too strong.
pub(in crate::propose) fn tone_eq(profile: &Profile, context: Context, proposal: &mut Proposal) {
    if let Some(why) = low_end(profile, context, proposal) {
        proposal.leave_flat(StageId::ToneEq, "low shelf", why);
    }
    if let Some(why) = presence(profile, proposal) {
        proposal.leave_flat(StageId::ToneEq, "bell", why);
    }
}

/// Decides the low shelf; returns the cause if it stays at 0 dB.
fn low_end(profile: &Profile, context: Context, proposal: &mut Proposal) -> Option<Cause> {
    let quantity = "the low end relative to published speech";
    let deviation = match finite(profile.tonal_balance.and_then(|balance| balance.low_end_db)) {
        Ok(deviation) => deviation,
        Err(why) => return Some(Cause::unknown(quantity, why)),
    };
    let mut correction = Correction::new(quantity, deviation, LOW_END_DB, LOW_END_SOURCE);
    if context.role == Role::OverMusic {
        correction.forbid_boost_over_music();
    }
    correction.decide(proposal, "tone_eq.low_shelf_gain_db", 0.5)
}

/// Decides the presence bell; returns the cause if it stays at 0 dB.
fn presence(profile: &Profile, proposal: &mut Proposal) -> Option<Cause> {
    let quantity = "the presence relative to published speech";
    let deviation = match finite(profile.tonal_balance.and_then(|balance| balance.presence_db)) {
        Ok(deviation) => deviation,
        Err(why) => return Some(Cause::unknown(quantity, why)),
    };
    let mut correction = Correction::new(quantity, deviation, PRESENCE_DB, PRESENCE_SOURCE);
    if correction.gain_db > 0.0 {
        match finite(profile.bandwidth.map(|band| band.high_hz)) {
            Ok(high_hz) if high_hz >= PRESENCE_NEEDS_HZ => {}
            Ok(high_hz) => {
                let reference_words = "a presence boost is proposed from";
                let narrow = Cause { reference_words, ..Cause::new("the bandwidth", high_hz, PRESENCE_NEEDS_HZ, "Hz") };
                return Some(narrow);
            }
            Err(why) => return Some(Cause::unknown("the bandwidth", why)),
        }
        let sibilance = known(profile.sibilance.map(|s| s.excess_db)).unwrap_or(0.0);
        let share = (1.0 - sibilance / NO_BOOST_AT_EXCESS_DB).clamp(0.0, 1.0);
        let reduced = libm::round(2.0 * correction.gain_db * share) * 0.5;
        correction.limit(reduced, "the boost is smaller because the excess sibilance is", sibilance);
    }
    correction.decide(proposal, "tone_eq.bell_gain_db", 0.6)
}
