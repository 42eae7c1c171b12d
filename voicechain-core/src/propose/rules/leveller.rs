//! Leveller: set from the level consistency.

use super::known::{finite, known};
use super::limited::is_limited;
use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::proposal::Proposal;
use crate::settings::StageId;

/// Standard deviation of the speech level above which the leveller is proposed, dB. Chosen on the development
/// recordings (see tests/accuracy/RESULTS.md).
const USUAL_SPREAD_DB: f64 = 4.4;
/// The same for a limited voice: the deviation of two levels 12 dB apart. A limiter flattens what is loud, so that faint
/// sounds count as speech, and the deviation of an even voice rises by up to 3 dB (computed with copies of the
/// development recordings, limited by 8 dB). The leveller would raise those sounds, and their peaks by up to 11 dB.
const LIMITED_SPREAD_DB: f64 = 6.0;
/// Signal-to-noise ratio that the maximum boost leaves, and lower limit of the maximum boost, dB (common practice, no
/// source).
const MIN_SNR_AFTER_BOOST_DB: f64 = 12.0;
const MIN_BOOST_DB: f64 = 3.0;

/// Proposes the leveller for a speech level less consistent than that of clean readings; for a limited voice only where
/// loud and soft parts differ by 12 dB. Noise limits the maximum boost.
pub(in crate::propose) fn leveller(profile: &Profile, proposal: &mut Proposal) {
    let quantity = "the standard deviation of the speech level";
    let deviation = match finite(profile.level_consistency.map(|consistency| consistency.standard_deviation_db)) {
        Ok(deviation) => deviation,
        Err(why) => return proposal.leave_off(StageId::Leveller, Cause::unknown(quantity, why)),
    };
    let cause = Cause {
        reference_words: "the typical maximum is",
        source: "measured on 24 recorded voices",
        ..Cause::new(quantity, deviation, USUAL_SPREAD_DB, "dB")
    };
    if deviation <= USUAL_SPREAD_DB {
        return proposal.leave_off(StageId::Leveller, cause);
    }
    if is_limited(profile) && deviation <= LIMITED_SPREAD_DB {
        let limited = Cause {
            reference_words: "a limited voice needs no leveller up to",
            source: COMMON_PRACTICE,
            reference: Some(LIMITED_SPREAD_DB),
            ..cause
        };
        return proposal.leave_off(StageId::Leveller, limited);
    }
    proposal.decide(cause, "leveller.on", 1.0);
    let usual = proposal.settings.leveller.maximum_boost_db;
    let Some(snr) = known(profile.background_noise.snr_db).filter(|snr| snr - MIN_SNR_AFTER_BOOST_DB < usual) else {
        return;
    };
    let boost = snr - MIN_SNR_AFTER_BOOST_DB;
    let (reference_words, reference) = if boost < MIN_BOOST_DB {
        ("the maximum boost is at least", MIN_BOOST_DB)
    } else {
        ("the maximum boost leaves", MIN_SNR_AFTER_BOOST_DB)
    };
    let noise = Cause { reference_words, ..Cause::new("the signal-to-noise ratio", snr, reference, "dB") };
    proposal.decide(noise, "leveller.maximum_boost_db", boost.max(MIN_BOOST_DB));
}
