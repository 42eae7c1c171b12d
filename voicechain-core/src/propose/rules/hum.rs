//! Hum: set from the measured mains hum.

use super::known::known;
use crate::measure::Profile;
use crate::measure::hum::MAX_UNDER_VOICE_DB;
use crate::measure::profile::HUM_HARMONICS;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::Mains;

/// Boundary between the mains frequencies, Hz.
const BETWEEN_MAINS_HZ: f64 = 55.0;

/// Proposes the hum stage at the measured mains frequency, with more harmonics when the highest measured harmonic is
/// present.
pub(in crate::propose) fn hum(profile: &Profile, proposal: &mut Proposal) {
    let (Ok(Some(found)), Some(voice)) = (profile.hum, known(profile.level.active_level_dbov)) else { return };
    let relative_db = found.level_dbfs - voice;
    if !(relative_db.is_finite() && relative_db >= -MAX_UNDER_VOICE_DB && found.frequency_hz.is_finite()) {
        return;
    }
    let cause = Cause {
        frequency_hz: Some(found.frequency_hz),
        reference_words: "the voice masks hum below",
        confidence: 0.9,
        ..Cause::new("the mains hum relative to the voice", relative_db, -MAX_UNDER_VOICE_DB, "dB")
    };
    proposal.decide(cause, "hum.on", 1.0);
    if found.frequency_hz > BETWEEN_MAINS_HZ {
        proposal.decide(cause, "hum.mains", f64::from(Mains::Hz60 as u8));
    }
    if let Some(highest) = found.harmonics_dbfs[HUM_HARMONICS - 1].filter(|level| level.is_finite()) {
        let highest = Cause {
            quantity: "the highest measured harmonic of the mains hum",
            frequency_hz: Some(HUM_HARMONICS as f64 * found.frequency_hz),
            measured: Ok(Some(highest)),
            reference_words: "where it is found, higher ones are removed too",
            reference: None,
            unit: "dBFS",
            ..cause
        };
        proposal.decide(highest, "hum.harmonics", 2.0 * HUM_HARMONICS as f64);
    }
}
