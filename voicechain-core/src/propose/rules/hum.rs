//! Hum: set from the measured mains hum.

use super::known::finite;
use crate::measure::Profile;
use crate::measure::hum::MAX_UNDER_VOICE_DB;
use crate::measure::profile::{HUM_HARMONICS, Unavailable};
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::{Mains, StageId};

/// Boundary between the mains frequencies, Hz.
const BETWEEN_MAINS_HZ: f64 = 55.0;

const QUANTITY: &str = "the mains hum relative to the voice";

fn cause_of(relative_db: f64) -> Cause {
    Cause {
        reference_words: "the voice masks hum below",
        confidence: 0.9,
        ..Cause::new(QUANTITY, relative_db, -MAX_UNDER_VOICE_DB, "dB")
    }
}

/// Proposes the hum stage at the measured mains frequency, with more harmonics when the highest measured harmonic is
/// present.
pub(in crate::propose) fn hum(profile: &Profile, proposal: &mut Proposal) {
    let voice = finite(profile.level.active_level_dbov);
    let unknown = |why| Cause::unknown(QUANTITY, why);
    let (found, relative_db) = match (profile.hum, voice) {
        (Err(why), _) | (Ok(Some(_)), Err(why)) => return proposal.leave_off(StageId::Hum, unknown(why)),
        (Ok(None), _) => {
            let none = Cause { quantity: "mains hum", measured: Ok(None), ..cause_of(0.0) };
            return proposal.leave_off(StageId::Hum, none);
        }
        (Ok(Some(found)), Ok(voice)) => (found, found.level_dbfs - voice),
    };
    if !(relative_db.is_finite() && found.frequency_hz.is_finite()) {
        return proposal.leave_off(StageId::Hum, unknown(Unavailable::NotMeasured));
    }
    let cause = Cause { frequency_hz: Some(found.frequency_hz), ..cause_of(relative_db) };
    if relative_db < -MAX_UNDER_VOICE_DB {
        return proposal.leave_off(StageId::Hum, cause);
    }
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
