//! Leveller: set from the level consistency.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

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
    let Some(consistency) =
        profile.level_consistency.ok().filter(|consistency| consistency.standard_deviation_db > USUAL_SPREAD_DB)
    else {
        return;
    };
    let cause = Cause {
        reference_words: "the typical maximum is",
        source: "measured on 24 recorded voices",
        ..Cause::new(
            "the standard deviation of the speech level",
            consistency.standard_deviation_db,
            USUAL_SPREAD_DB,
            "dB",
        )
    };
    proposal.decide(cause, "leveller.on", 1.0);
    let usual = proposal.settings.leveller.maximum_boost_db;
    let Some(snr) = known(profile.background_noise.snr_db).filter(|snr| snr - MIN_SNR_AFTER_BOOST_DB < usual) else {
        return;
    };
    let boost = Cause {
        reference_words: "the maximum boost leaves about",
        ..Cause::new("the signal-to-noise ratio", snr, MIN_SNR_AFTER_BOOST_DB, "dB")
    };
    proposal.decide(boost, "leveller.maximum_boost_db", (snr - MIN_SNR_AFTER_BOOST_DB).clamp(MIN_BOOST_DB, usual));
}
