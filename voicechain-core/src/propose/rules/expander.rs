//! Expander: set from the signal-to-noise ratio.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

/// Signal-to-noise ratio below which noise is audible between words, dB (common practice, no source).
const NOISY_DB: f64 = 25.0;
/// Target signal-to-noise ratio in pauses, and bounds of the range, dB (common practice, no source).
const TARGET_SNR_DB: f64 = 30.0;
const RANGE_DB: [f64; 2] = [5.0, 15.0];
/// Signal-to-noise ratio below which the detector misses words, dB: the expander is not proposed. (Bands of a voice
/// must exceed the noise by 12 dB.)
const MIN_SNR_DB: f64 = 6.0;

/// Proposes the expander for a low signal-to-noise ratio. The lower the ratio, the larger the range.
pub(in crate::propose) fn expander(profile: &Profile, proposal: &mut Proposal) {
    let Some(snr) = known(profile.background_noise.snr_db).filter(|snr| (MIN_SNR_DB..NOISY_DB).contains(snr)) else {
        return;
    };
    let cause = Cause {
        reference_words: "noise is audible between words below",
        ..Cause::new("the signal-to-noise ratio", snr, NOISY_DB, "dB")
    };
    proposal.decide(cause, "expander.on", 1.0);
    let wanted = TARGET_SNR_DB - snr;
    let (reference_words, reference) = match wanted {
        wanted if wanted > RANGE_DB[1] => ("the range is at most", RANGE_DB[1]),
        wanted if wanted < RANGE_DB[0] => ("the range is at least", RANGE_DB[0]),
        _ => ("the range raises it in pauses to", TARGET_SNR_DB),
    };
    let depth = Cause { reference_words, reference: Some(reference), ..cause };
    proposal.decide(depth, "expander.range_db", wanted.clamp(RANGE_DB[0], RANGE_DB[1]));
}
