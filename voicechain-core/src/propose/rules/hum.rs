//! Hum: the tones of the mains.

use super::known::known;
use crate::measure::Profile;
use crate::measure::hum::MAX_UNDER_VOICE_DB;
use crate::measure::profile::HUM_HARMONICS;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::Mains;

/// Hum at the frequency of the mains, with more harmonics where the last one that is looked at stands out.
pub(in crate::propose) fn hum(profile: &Profile, proposal: &mut Proposal) {
    let (Ok(Some(found)), Some(voice)) = (profile.hum, known(profile.level.active_level_dbov)) else { return };
    let under = found.level_dbfs - voice;
    if !under.is_finite() || !found.frequency_hz.is_finite() {
        return;
    }
    let cause = Cause {
        frequency_hz: Some(found.frequency_hz),
        reference_words: "a voice covers what is under",
        confidence: 0.9,
        ..Cause::new("the mains hum against the voice", under, -MAX_UNDER_VOICE_DB, "dB")
    };
    proposal.decide(cause, "hum.on", 1.0);
    if found.frequency_hz > 55.0 {
        proposal.decide(cause, "hum.mains", f64::from(Mains::Hz60 as u8));
    }
    if found.harmonics_dbfs[HUM_HARMONICS - 1].is_some() {
        proposal.decide(cause, "hum.harmonics", 2.0 * HUM_HARMONICS as f64);
    }
}
