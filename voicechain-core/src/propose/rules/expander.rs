//! Expander: set from the signal-to-noise ratio.

use super::known::finite;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::settings::StageId;

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
    let quantity = "the signal-to-noise ratio";
    let snr = match finite(profile.background_noise.snr_db) {
        Ok(snr) => snr,
        Err(why) => return proposal.leave_off(StageId::Expander, Cause::unknown(quantity, why)),
    };
    let cause =
        Cause { reference_words: "noise is audible between words below", ..Cause::new(quantity, snr, NOISY_DB, "dB") };
    if snr < MIN_SNR_DB {
        let misses_words =
            Cause { reference_words: "the expander misses words below", reference: Some(MIN_SNR_DB), ..cause };
        return proposal.leave_off(StageId::Expander, misses_words);
    }
    if snr >= NOISY_DB {
        return proposal.leave_off(StageId::Expander, cause);
    }
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
