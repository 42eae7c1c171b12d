//! Expander: the noise between the words.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

/// Noise that lies less than this under the voice is heard between its words, dB (common practice, no source).
const NOISY_DB: f64 = 25.0;
/// So far under the voice the pauses are brought, dB, by no less and no more than this (common practice, no source).
const TARGET_SNR_DB: f64 = 30.0;
const RANGE_DB: [f64; 2] = [5.0, 15.0];
/// Under this the detector no longer tells every word from the noise, dB: it is not proposed (bands of a voice have to stand
/// 12 dB out of the noise).
const MIN_SNR_DB: f64 = 6.0;

/// Turned on by a poor signal-to-noise ratio; the poorer, the more it takes from the pauses.
pub(in crate::propose) fn expander(profile: &Profile, proposal: &mut Proposal) {
    let Some(snr) = known(profile.background_noise.snr_db).filter(|snr| (MIN_SNR_DB..NOISY_DB).contains(snr)) else {
        return;
    };
    let cause =
        Cause { reference_words: "quiet is at least", ..Cause::new("the signal-to-noise ratio", snr, NOISY_DB, "dB") };
    proposal.decide(cause, "expander.on", 1.0);
    proposal.decide(cause, "expander.range_db", (TARGET_SNR_DB - snr).clamp(RANGE_DB[0], RANGE_DB[1]));
}
