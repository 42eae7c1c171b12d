//! Leveller: phrases of different levels.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

/// The levels of phrases usually spread by less than this, dB, told best by this on half of the recorded voices
/// (`accuracy -- levels`).
const USUAL_SPREAD_DB: f64 = 4.4;
/// Raised by no more than leaves the noise so far under the voice, dB, but by this much at least (common practice, no source).
const MIN_SNR_AFTER_BOOST_DB: f64 = 12.0;
const MIN_BOOST_DB: f64 = 3.0;

/// Turned on by phrases that differ by more than those of clean readings; quiet phrases are raised less where noise would rise
/// with them.
pub(in crate::propose) fn leveller(profile: &Profile, proposal: &mut Proposal) {
    let Some(consistency) =
        profile.level_consistency.ok().filter(|consistency| consistency.standard_deviation_db > USUAL_SPREAD_DB)
    else {
        return;
    };
    let cause = Cause {
        reference_words: "usual is at most",
        source: "measured on 24 recorded voices, command reach levels",
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
    let rise = Cause {
        reference_words: "phrases are raised no further than to",
        ..Cause::new("the signal-to-noise ratio", snr, MIN_SNR_AFTER_BOOST_DB, "dB")
    };
    proposal.decide(rise, "leveller.maximum_boost_db", (snr - MIN_SNR_AFTER_BOOST_DB).clamp(MIN_BOOST_DB, usual));
}
