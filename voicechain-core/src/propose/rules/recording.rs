//! What the recording itself warns of.

use super::compressor::{NOISY_DB, PRESSED_CREST_DB};
use super::known::known;
use crate::measure::profile::{Profile, Subject};
use crate::propose::proposal::Proposal;
use crate::propose::warning::Warning;

/// Speech that tells enough, s: resonances are found twice as often in 30 s as in 8 s.
const ENOUGH_S: f64 = 30.0;
/// A decay time from which a voice sounds distant, s (common practice, no source).
const ROOMY_S: f64 = 0.4;

/// Warns of what the strip cannot mend, and of what tells too little.
pub(in crate::propose) fn warn_of_recording(profile: &Profile, proposal: &mut Proposal) {
    match profile.subject {
        Subject::Voice => {}
        Subject::SeveralVoices => proposal.warn(Warning::SeveralVoices),
        _ => {
            proposal.warn(Warning::NotAVoice);
            return;
        }
    }
    if profile.level.active_s < ENOUGH_S {
        proposal.warn(Warning::Short(profile.level.active_s.max(0.0)));
    }
    if profile.level.clipping.stretches > 0 {
        proposal.warn(Warning::Clipped(profile.level.clipping.stretches));
    }
    if let Some(crest) = known(profile.level.crest_db).filter(|db| *db < PRESSED_CREST_DB) {
        proposal.warn(Warning::CompressedBefore(crest));
    }
    if let Some(snr) = known(profile.ground.snr_db) {
        if snr < NOISY_DB[1] {
            proposal.warn(Warning::BeyondRepairNoise(snr));
        } else if snr < NOISY_DB[0] {
            proposal.warn(Warning::NoisyForCompression(snr));
        }
    }
    if let Some(band) = profile.bandwidth.ok().filter(|b| b.telephone && b.high_hz.is_finite()) {
        proposal.warn(Warning::Telephone(band.high_hz));
    }
    if let Some(room) = profile.room.ok().filter(|r| r.decay_time_s > ROOMY_S) {
        proposal.warn(Warning::Roomy(room.decay_time_s));
    }
}
