//! De-esser: set from the voice itself and therefore independent of its level.

use super::known::finite;
use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::proposal::Proposal;
use crate::settings::StageId;

/// Excess sibilance above which the de-esser is proposed, dB: one clean voice in ten exceeds it.
const USUAL_EXCESS_DB: f64 = 6.5;
/// Bounds of the range, dB (common practice, no source).
const RANGE_DB: [f64; 2] = [4.0, 8.0];
/// Distance of the threshold below the ratio of loud fricatives, in addition to the range, dB.
const THRESHOLD_MARGIN_DB: f64 = 7.0;
/// Bounds of the threshold, dB. Vowels lie below -12 dB; the knee starts 3 dB below the threshold.
const DE_ESSER_THRESHOLD_DB: [f64; 2] = [-6.0, 12.0];
/// Frequency setting for the whole sibilant band, whose lower edge is at 4 kHz.
const DE_ESSER_HZ: f64 = 4_000.0;

/// Proposes the de-esser only for excess sibilance.
pub(in crate::propose) fn de_esser(profile: &Profile, proposal: &mut Proposal) {
    let quantity = "the excess sibilance";
    let measured = profile.sibilance.and_then(|s| Ok((s, finite(Ok(s.excess_db))?, finite(Ok(s.ratio_p90_db))?)));
    let (sibilance, excess, ratio) = match measured {
        Ok(measured) => measured,
        Err(why) => return proposal.leave_off(StageId::DeEsser, Cause::unknown(quantity, why)),
    };
    let range = libm::round(2.0 * excess.clamp(RANGE_DB[0], RANGE_DB[1])) * 0.5;
    let cause = Cause {
        frequency_hz: Some(sibilance.frequency_hz).filter(|hz| hz.is_finite()),
        reference_words: "one voice in ten exceeds",
        confidence: 0.6,
        source: "measured on 16 recorded voices",
        ..Cause::new(quantity, excess, USUAL_EXCESS_DB, "dB")
    };
    if excess <= USUAL_EXCESS_DB {
        return proposal.leave_off(StageId::DeEsser, cause);
    }
    proposal.decide(cause, "de_esser.on", 1.0);
    let usual = Cause { source: COMMON_PRACTICE, ..cause };
    proposal.decide(usual, "de_esser.frequency_hz", DE_ESSER_HZ);
    let depth = if excess > RANGE_DB[1] {
        Cause { reference_words: "the range is at most", reference: Some(range), ..usual }
    } else {
        Cause { reference_words: "the range is set to", reference: Some(range), ..usual }
    };
    proposal.decide(depth, "de_esser.range_db", range);
    let [least, most] = DE_ESSER_THRESHOLD_DB;
    let wanted = ratio - range - THRESHOLD_MARGIN_DB;
    let threshold = Cause {
        quantity: "the sibilant-to-voiced ratio of loud fricatives",
        measured: Ok(Some(ratio)),
        reference_words: if wanted < least {
            "the de-esser threshold is at least"
        } else if wanted > most {
            "the de-esser threshold is at most"
        } else {
            "the de-esser threshold is set to"
        },
        reference: Some(wanted.clamp(least, most)),
        ..usual
    };
    proposal.decide(threshold, "de_esser.threshold_db", wanted.clamp(least, most));
}
