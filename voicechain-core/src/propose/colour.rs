//! Tone: cut what stands out, lift what is lacking, both only beyond what is usual.

use super::{Context, Profile, Proposal, Reason, Role, known};
use crate::measure::profile::Resonance;

/// How sure a candidate must be to be acted on.
const SURE: f64 = 0.5;
/// Prominence that voices have of themselves, dB. With [`SHARE`] it lowered the error of shape of voices with a +8 dB
/// bell from 2.5 to 2.1 dB and harmed one in a hundred.
const USUAL_PROMINENCE_DB: f64 = 4.0;
/// Share of the excess that is cut.
const SHARE: f64 = 0.7;
/// A cut of less is not worth a bell, dB (common practice, no source).
const LEAST_CUT_DB: f64 = 0.5;
/// Bounds of a bell's Q (common practice, no source).
const BELL_Q: [f64; 2] = [0.7, 4.0];
/// The deepest cut, dB (common practice, no source).
const DEEPEST_DB: f64 = 6.0;
/// All changes of tone together give and take at most this, dB: the sum of their gains' magnitudes, which no response of
/// theirs exceeds (common practice, no source).
const ALTOGETHER_DB: f64 = 9.0;
/// Two bells closer than this (as a ratio, an octave) would add up: the second is left out.
const APART: f64 = 2.0;
const MEASURED: &str = "measured on 24 recorded voices, command reach resonance";

/// The settings of the bells for what stands out, with the frequency below which each is the first choice, Hz.
const BELLS: [(f64, [&str; 3]); 3] = [
    (300.0, ["corrective_eq.bell_1_frequency_hz", "corrective_eq.bell_1_gain_db", "corrective_eq.bell_1_q"]),
    (670.0, ["corrective_eq.bell_2_frequency_hz", "corrective_eq.bell_2_gain_db", "corrective_eq.bell_2_q"]),
    (f64::INFINITY, ["corrective_eq.bell_3_frequency_hz", "corrective_eq.bell_3_gain_db", "corrective_eq.bell_3_q"]),
];

/// How deep a candidate would be cut if it were sure, dB.
fn depth_db(resonance: &Resonance) -> f64 {
    (SHARE * (resonance.prominence_db - USUAL_PROMINENCE_DB)).min(DEEPEST_DB)
}

/// The Q of the bell for a candidate.
fn bell_q(resonance: &Resonance) -> f64 {
    resonance.q.clamp(BELL_Q[0], BELL_Q[1])
}

/// The shallowest cut that is tried on a candidate by ear, dB: less is hard to hear (common practice, no source).
const AUDIBLE_DB: f64 = 3.0;

/// The bell that a person tries on a candidate by ear: what the proposal cuts where it is sure; elsewhere the same bell,
/// at least 3 dB deep, so that the cut can be heard. As (frequency in Hz, gain in dB, Q).
#[must_use]
pub fn trial_bell(resonance: &Resonance) -> (f64, f64, f64) {
    let sure = cut_db(resonance).map(|cut| -cut);
    let depth = sure.unwrap_or_else(|| depth_db(resonance).max(AUDIBLE_DB));
    (resonance.frequency_hz, -depth, bell_q(resonance))
}

/// How deep a candidate is cut, dB below 0; `None` when it is left to the ear.
fn cut_db(resonance: &Resonance) -> Option<f64> {
    let cut = depth_db(resonance);
    let placed = (60.0..=8_000.0).contains(&resonance.frequency_hz) && resonance.q > 0.0;
    (resonance.confidence >= SURE && cut >= LEAST_CUT_DB && placed).then_some(-cut)
}

/// What is left of [`ALTOGETHER_DB`], dB.
fn left_db(proposal: &Proposal) -> f64 {
    let (cuts, tone) = (&proposal.settings.corrective_eq, &proposal.settings.tone_eq);
    let gains =
        [cuts.bell_1_gain_db, cuts.bell_2_gain_db, cuts.bell_3_gain_db, tone.low_shelf_gain_db, tone.bell_gain_db];
    ALTOGETHER_DB - gains.iter().map(|gain| gain.abs()).sum::<f64>()
}

/// Bells of the corrective EQ at the sure candidates.
pub(super) fn stand_outs(profile: &Profile, proposal: &mut Proposal) {
    let Ok(candidates) = profile.resonances else { return };
    let mut taken = [f64::NAN; 3];
    for resonance in candidates.iter().flatten() {
        let Some(cut) = cut_db(resonance) else { continue };
        let cut = cut.max(-left_db(proposal));
        if cut > -LEAST_CUT_DB {
            return;
        }
        let hz = resonance.frequency_hz;
        if taken.iter().any(|&other| hz < other * APART && other < hz * APART) {
            continue;
        }
        let first = BELLS.iter().position(|(below, _)| hz < *below).unwrap_or(0);
        let Some(slot) = [first, (first + 1) % 3, (first + 2) % 3].into_iter().find(|&i| taken[i].is_nan()) else {
            return;
        };
        taken[slot] = hz;
        let reason = Reason {
            place_hz: Some(hz),
            confidence: resonance.confidence.min(1.0),
            source: MEASURED,
            ..Reason::new("what stands out of the voice", resonance.prominence_db, USUAL_PROMINENCE_DB, "dB")
        };
        let (_, [frequency, gain, q]) = BELLS[slot];
        proposal.decide(reason, frequency, hz);
        proposal.decide(reason, gain, cut);
        proposal.decide(reason, q, bell_q(resonance));
    }
}

/// Mean and standard deviation of clean voices against published speech, dB, below 250 Hz.
const LOW_END_DB: [f64; 2] = [-1.4, 4.0];
/// The same from 2 to 5 kHz.
const PRESENCE_DB: [f64; 2] = [1.9, 3.9];
/// The most that a tone rule gives or takes, dB (common practice, no source).
const MOST_TONE_DB: f64 = 2.0;
/// The bell of the tone EQ needs the band up to here, Hz.
const PRESENCE_NEEDS_HZ: f64 = 6_000.0;
const MEASURED_COLOUR: &str = "measured on 16 clean voices against Byrne et al. 1994, command reach colour";

/// Half of what lies beyond one standard deviation, the other way, bounded, in half decibels.
fn correction_db(deviation: f64, [mean, spread]: [f64; 2]) -> f64 {
    let beyond = deviation - mean;
    let beyond = beyond - beyond.clamp(-spread, spread);
    libm::round((-beyond).clamp(-2.0 * MOST_TONE_DB, 2.0 * MOST_TONE_DB)) * 0.5 + 0.0
}

/// A little low end for a solo voice that lacks it; presence when dull, unless it would hiss or is not recorded.
pub(super) fn tone(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let Ok(colour) = profile.colour else { return };
    if let Some(low) = known(colour.low_end_db) {
        let left = left_db(proposal);
        let gain = correction_db(low, LOW_END_DB).clamp(-left, left);
        let wanted = if context.role == Role::OverMusic { gain.min(0.0) } else { gain };
        if wanted != 0.0 {
            let reason = Reason {
                confidence: 0.5,
                source: MEASURED_COLOUR,
                ..Reason::new("the low end against published speech", low, LOW_END_DB[0], "dB")
            };
            proposal.decide(reason, "tone_eq.low_shelf_gain_db", wanted);
        }
    }
    if let Some(presence) = known(colour.presence_db) {
        let mut gain = correction_db(presence, PRESENCE_DB);
        let reaches = profile.bandwidth.is_ok_and(|b| b.high_hz >= PRESENCE_NEEDS_HZ);
        if gain > 0.0 {
            let sibilant = profile.sibilance.map_or(0.0, |s| s.excess_db);
            // Nothing for a voice that hisses by 5 dB more than usual, half for one that does by 2.5 dB.
            let less = if sibilant.is_finite() { (1.0 - sibilant / 5.0).clamp(0.0, 1.0) } else { 0.0 };
            gain = if reaches { libm::round(2.0 * gain * less) * 0.5 } else { 0.0 };
        }
        let left = left_db(proposal);
        gain = gain.clamp(-left, left);
        if gain != 0.0 {
            let reason = Reason {
                confidence: 0.6,
                source: MEASURED_COLOUR,
                ..Reason::new("the presence against published speech", presence, PRESENCE_DB[0], "dB")
            };
            proposal.decide(reason, "tone_eq.bell_gain_db", gain);
        }
    }
}
