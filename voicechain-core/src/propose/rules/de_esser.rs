//! De-esser: set from the voice itself, so that its level does not matter.

use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::proposal::Proposal;

/// Fricatives stronger than usual by more than this are turned down, dB: one clean voice in ten reads more.
const USUAL_EXCESS_DB: f64 = 6.5;
/// Bounds of the range, dB (common practice, no source).
const RANGE_DB: [f64; 2] = [4.0, 8.0];
/// So far below the loud fricatives' ratio, besides the range, the de-esser begins, dB.
const THRESHOLD_MARGIN_DB: f64 = 7.0;
/// Bounds of the threshold, dB. Vowels lie below -12 dB, the knee begins 3 dB under the threshold.
const DE_ESSER_THRESHOLD_DB: [f64; 2] = [-6.0, 12.0];
/// The whole sibilant band, whose lower edge is at 4 kHz.
const DE_ESSER_HZ: f64 = 4_000.0;

/// Only where the fricatives are too strong.
pub(in crate::propose) fn de_esser(profile: &Profile, proposal: &mut Proposal) {
    let Ok(sibilance) = profile.sibilance else { return };
    // Nothing that is not a number is greater than anything.
    if !(sibilance.excess_db > USUAL_EXCESS_DB && sibilance.ratio_p90_db.is_finite()) {
        return;
    }
    let range = libm::round(2.0 * sibilance.excess_db.clamp(RANGE_DB[0], RANGE_DB[1])) * 0.5;
    let [least, most] = DE_ESSER_THRESHOLD_DB;
    let cause = Cause {
        frequency_hz: Some(sibilance.frequency_hz).filter(|hz| hz.is_finite()),
        reference_words: "one voice in ten reads more than",
        confidence: 0.6,
        source: "measured on 16 recorded voices, command reach sibilance",
        ..Cause::new("the excess of the sibilance", sibilance.excess_db, USUAL_EXCESS_DB, "dB")
    };
    proposal.decide(cause, "de_esser.on", 1.0);
    proposal.decide(cause, "de_esser.range_db", range);
    proposal.decide(Cause { source: COMMON_PRACTICE, ..cause }, "de_esser.frequency_hz", DE_ESSER_HZ);
    let ratio = Cause {
        reference_words: "the de-esser begins at",
        reference: (sibilance.ratio_p90_db - range - THRESHOLD_MARGIN_DB).clamp(least, most),
        source: COMMON_PRACTICE,
        measured: sibilance.ratio_p90_db,
        quantity: "the ratio of the sibilant to the voiced band in loud fricatives",
        ..cause
    };
    proposal.decide(ratio, "de_esser.threshold_db", ratio.reference);
}
