//! Leveller: phrases of different levels.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

/// The levels of phrases usually spread by less than this, dB, told best by this on half of the recorded voices
/// (`reach -- levels`).
const USUAL_SPREAD_DB: f64 = 4.4;
/// Raised by no more than leaves the noise so far under the voice, dB, but by this much at least (common practice, no source).
const NOISE_UNDER_DB: f64 = 12.0;
const LEAST_RISE_DB: f64 = 3.0;

/// Turned on by phrases that differ by more than those of clean readings; quiet phrases are raised less where noise would rise
/// with them.
pub(in crate::propose) fn leveller(profile: &Profile, proposal: &mut Proposal) {
    let Some(phrases) = profile.phrases.ok().filter(|phrases| phrases.spread_db > USUAL_SPREAD_DB) else { return };
    let cause = Cause {
        reference_words: "usual is at most",
        source: "measured on 24 recorded voices, command reach levels",
        ..Cause::new("the spread of the phrases' levels", phrases.spread_db, USUAL_SPREAD_DB, "dB")
    };
    proposal.decide(cause, "leveller.on", 1.0);
    let usual = proposal.settings.leveller.rise_db;
    let Some(snr) = known(profile.ground.snr_db).filter(|snr| snr - NOISE_UNDER_DB < usual) else { return };
    let rise = Cause {
        reference_words: "phrases are raised no further than to",
        ..Cause::new("the signal-to-noise ratio", snr, NOISE_UNDER_DB, "dB")
    };
    proposal.decide(rise, "leveller.rise_db", (snr - NOISE_UNDER_DB).clamp(LEAST_RISE_DB, usual));
}
