//! Tone EQ: corrects the low end and the presence beyond the typical spread of voices.

use super::known::known;
use super::tone_budget::{MAX_TOTAL_GAIN_DB, ToneBudget};
use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::context::{Context, Role};
use crate::propose::proposal::Proposal;

/// Mean and standard deviation of clean voices relative to published speech below 250 Hz, dB.
const LOW_END_DB: [f64; 2] = [-1.4, 4.0];
/// The same from 2 to 5 kHz.
const PRESENCE_DB: [f64; 2] = [1.9, 3.9];
/// Maximum boost and cut by one tone rule, dB (common practice, no source).
const MAX_TONE_GAIN_DB: f64 = 2.0;
/// Deviation beyond one standard deviation whose correction rounds to 0 dB, dB.
const ROUNDED_TO_ZERO_DB: f64 = 0.5;
/// Excess sibilance at which presence is not boosted; at half of it the boost is halved, dB (common practice, no source).
const NO_BOOST_AT_EXCESS_DB: f64 = 5.0;
/// Bandwidth that a presence boost requires, Hz.
const PRESENCE_NEEDS_HZ: f64 = 6_000.0;
const MEASURED: &str = "measured on 16 clean voices against Byrne et al. 1994";

/// A correction of one deviation, with its cause: what was the last to change it.
struct Correction {
    gain_db: f64,
    cause: Cause,
}

impl Correction {
    /// Half of the deviation beyond one standard deviation with the opposite sign, in steps of 0.5 dB, limited.
    fn new(quantity: &'static str, deviation: f64, [mean, spread]: [f64; 2]) -> Self {
        let beyond = deviation - mean;
        let beyond = beyond - beyond.clamp(-spread, spread);
        let (reference_words, reference) = if deviation < mean {
            ("a boost is proposed below", mean - spread - ROUNDED_TO_ZERO_DB)
        } else {
            ("a cut is proposed above", mean + spread + ROUNDED_TO_ZERO_DB)
        };
        let cause = Cause { reference_words, source: MEASURED, ..Cause::new(quantity, deviation, reference, "dB") };
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

    /// Decides the setting within the limit on the sum of all gains.
    fn decide(mut self, proposal: &mut Proposal, setting: &'static str, confidence: f64) {
        let gain_db = ToneBudget::after(proposal).limit(self.gain_db);
        self.limit(gain_db, "the gains of both EQs add up to at most", MAX_TOTAL_GAIN_DB);
        if self.gain_db != 0.0 {
            proposal.decide(Cause { confidence, ..self.cause }, setting, self.gain_db);
        }
    }
}

/// Proposes low end for a solo voice that lacks it, and presence for a dull voice, unless sibilance or the bandwidth
/// forbids it. Cuts where either is too strong.
pub(in crate::propose) fn tone_eq(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let Ok(tonal_balance) = profile.tonal_balance else { return };
    if let Some(deviation) = known(tonal_balance.low_end_db) {
        let mut low_end = Correction::new("the low end relative to published speech", deviation, LOW_END_DB);
        if context.role == Role::OverMusic {
            low_end.gain_db = low_end.gain_db.min(0.0);
        }
        low_end.decide(proposal, "tone_eq.low_shelf_gain_db", 0.5);
    }
    if let Some(deviation) = known(tonal_balance.presence_db) {
        let mut presence = Correction::new("the presence relative to published speech", deviation, PRESENCE_DB);
        if presence.gain_db > 0.0 {
            let sibilance = known(profile.sibilance.map(|s| s.excess_db)).unwrap_or(0.0);
            let share = (1.0 - sibilance / NO_BOOST_AT_EXCESS_DB).clamp(0.0, 1.0);
            let reduced = libm::round(2.0 * presence.gain_db * share) * 0.5;
            presence.limit(reduced, "the boost is smaller because the excess sibilance is", sibilance);
            if !profile.bandwidth.is_ok_and(|b| b.high_hz >= PRESENCE_NEEDS_HZ) {
                presence.gain_db = 0.0;
            }
        }
        presence.decide(proposal, "tone_eq.bell_gain_db", 0.6);
    }
}
