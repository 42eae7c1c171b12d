//! Leveller: set from the level consistency.

use super::known::{finite, known};
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::StageId;

/// Standard deviation of the speech level above which the leveller is proposed, dB. Chosen on the development
/// recordings (see tests/accuracy/RESULTS.md).
const USUAL_SPREAD_DB: f64 = 4.4;
/// Signal-to-noise ratio that the maximum boost leaves, and lower limit of the maximum boost, dB (common practice, no
/// source).
const MIN_SNR_AFTER_BOOST_DB: f64 = 12.0;
const MIN_BOOST_DB: f64 = 3.0;

/// Proposes the leveller for a speech level less consistent than that of clean readings. Noise limits the maximum
/// boost.
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
