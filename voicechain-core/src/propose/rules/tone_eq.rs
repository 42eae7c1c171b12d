//! Tone EQ: corrects the low end and the presence beyond the typical spread of voices.

use super::known::known;
use super::tone_budget::ToneBudget;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::context::{Context, Role};
use crate::propose::proposal::Proposal;

/// Mean and standard deviation of clean voices relative to published speech below 250 Hz, dB.
const LOW_END_DB: [f64; 2] = [-1.4, 4.0];
/// The same from 2 to 5 kHz.
const PRESENCE_DB: [f64; 2] = [1.9, 3.9];
/// Maximum boost and cut by one tone rule, dB (common practice, no source).
const MAX_TONE_GAIN_DB: f64 = 2.0;
/// Bandwidth that the presence bell requires, Hz.
const PRESENCE_NEEDS_HZ: f64 = 6_000.0;
const MEASURED: &str = "measured on 16 clean voices against Byrne et al. 1994";

/// Correction in steps of 0.5 dB: half of the deviation beyond one standard deviation with the opposite sign, bounded.
fn correction_db(deviation: f64, [mean, spread]: [f64; 2]) -> f64 {
    let beyond = deviation - mean;
    let beyond = beyond - beyond.clamp(-spread, spread);
    libm::round((-beyond).clamp(-2.0 * MAX_TONE_GAIN_DB, 2.0 * MAX_TONE_GAIN_DB)) * 0.5 + 0.0
}

/// Proposes low end for a solo voice that lacks it, and presence for a dull voice, unless sibilance or the bandwidth
/// forbids it. Cuts where either is too strong.
pub(in crate::propose) fn tone_eq(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let Ok(tonal_balance) = profile.tonal_balance else { return };
    if let Some(low) = known(tonal_balance.low_end_db) {
        let gain = ToneBudget::after(proposal).limit(correction_db(low, LOW_END_DB));
        let wanted = if context.role == Role::OverMusic { gain.min(0.0) } else { gain };
        if wanted != 0.0 {
            let cause = Cause {
                confidence: 0.5,
                source: MEASURED,
                ..Cause::new("the low end relative to published speech", low, LOW_END_DB[0], "dB")
            };
            proposal.decide(cause, "tone_eq.low_shelf_gain_db", wanted);
        }
    }
    if let Some(presence) = known(tonal_balance.presence_db) {
        let mut gain = correction_db(presence, PRESENCE_DB);
        let reaches = profile.bandwidth.is_ok_and(|b| b.high_hz >= PRESENCE_NEEDS_HZ);
        if gain > 0.0 {
            let sibilant = profile.sibilance.map_or(0.0, |s| s.excess_db);
            // No boost at 5 dB of excess sibilance, half the boost at 2.5 dB.
            let less = if sibilant.is_finite() { (1.0 - sibilant / 5.0).clamp(0.0, 1.0) } else { 0.0 };
            gain = if reaches { libm::round(2.0 * gain * less) * 0.5 } else { 0.0 };
        }
        gain = ToneBudget::after(proposal).limit(gain);
        if gain != 0.0 {
            let cause = Cause {
                confidence: 0.6,
                source: MEASURED,
                ..Cause::new("the presence relative to published speech", presence, PRESENCE_DB[0], "dB")
            };
            proposal.decide(cause, "tone_eq.bell_gain_db", gain);
        }
    }
}
