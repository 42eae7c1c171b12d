//! Warnings about the recording.

use super::compressor::{COMPRESSED_CREST_DB, NOISY_DB};
use super::known::known;
use crate::measure::profile::{Profile, SignalClass};
use crate::propose::proposal::Proposal;
use crate::propose::warning::Warning;

/// Active speech for a reliable proposal, s (common practice, no source).
const SUFFICIENT_S: f64 = 30.0;
/// Decay time above which a voice sounds distant, s (common practice, no source).
const REVERBERANT_S: f64 = 0.4;

/// Warns of faults that the strip cannot repair, and of too little speech.
pub(in crate::propose) fn warn_of_recording(profile: &Profile, proposal: &mut Proposal) {
    match profile.signal_class {
        SignalClass::Voice => {}
        SignalClass::SeveralVoices => proposal.warn(Warning::SeveralVoices),
        _ => {
            proposal.warn(Warning::NotAVoice);
            return;
        }
    }
    if profile.level.active_s < SUFFICIENT_S {
        proposal.warn(Warning::LittleSpeech(profile.level.active_s.max(0.0)));
    }
    if profile.level.clipping.runs > 0 {
        proposal.warn(Warning::Clipped(profile.level.clipping.runs));
    }
    let compressed = known(profile.level.crest_db).filter(|db| *db < COMPRESSED_CREST_DB);
    if let Some(crest) = compressed {
        proposal.warn(Warning::AlreadyCompressed(crest));
    }
    if let Some(snr) = known(profile.background_noise.snr_db) {
        if snr < NOISY_DB[1] {
            proposal.warn(Warning::ExcessiveNoise(snr));
        } else if snr < NOISY_DB[0] && compressed.is_none() {
            proposal.warn(Warning::NoiseLimitsCompression(snr));
        }
    }
    if let Some(band) = profile.bandwidth.ok().filter(|b| b.narrowband && b.high_hz.is_finite()) {
        proposal.warn(Warning::Narrowband(band.high_hz));
    }
    if let Some(decay_s) = known(profile.reverberation.map(|r| r.decay_time_s)).filter(|s| *s > REVERBERANT_S) {
        proposal.warn(Warning::Reverberant(decay_s));
    }
}
