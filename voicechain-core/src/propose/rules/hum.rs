//! Hum: set from the measured mains hum.

use super::known::known;
use crate::measure::Profile;
use crate::measure::hum::MAX_UNDER_VOICE_DB;
use crate::measure::profile::HUM_HARMONICS;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::Mains;

/// Proposes the hum stage at the measured mains frequency, with more harmonics when the highest measured harmonic is
/// present.
pub(in crate::propose) fn hum(profile: &Profile, proposal: &mut Proposal) {
    let (Ok(Some(found)), Some(voice)) = (profile.hum, known(profile.level.active_level_dbov)) else { return };
    let relative_db = found.level_dbfs - voice;
    if !relative_db.is_finite() || !found.frequency_hz.is_finite() {
        return;
    }
    let cause = Cause {
        frequency_hz: Some(found.frequency_hz),
        reference_words: "the voice masks hum below",
        confidence: 0.9,
        ..Cause::new("the mains hum relative to the voice", relative_db, -MAX_UNDER_VOICE_DB, "dB")
    };
    proposal.decide(cause, "hum.on", 1.0);
    if found.frequency_hz > 55.0 {
        proposal.decide(cause, "hum.mains", f64::from(Mains::Hz60 as u8));
    }
    if found.harmonics_dbfs[HUM_HARMONICS - 1].is_some() {
        proposal.decide(cause, "hum.harmonics", 2.0 * HUM_HARMONICS as f64);
    }
}
