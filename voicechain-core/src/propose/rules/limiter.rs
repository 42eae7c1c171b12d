//! Limiter: set for a voice whose peaks come limited.

use super::limited::is_flattened;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;

/// Distance of the ceiling below the highest true peak behind a de-reverb, dB: it takes about this much of the loudness
/// between the peaks. Chosen on limited copies of recordings of both halves.
const DE_REVERB_LOSS_DB: f64 = 1.0;

/// Keeps limited peaks limited: the phase shift of filters, and stages that act between the peaks, turn them up by 1 to
/// 6 dB. The ceiling is the highest true peak at the working level, to which the trim brings the voice. The crest factor
/// then rises by less than 1 dB in 45 of 47 copies (see tests/accuracy/RESULTS.md).
pub(in crate::propose) fn limiter(profile: &Profile, proposal: &mut Proposal) {
    if !is_flattened(profile) {
        return;
    }
    let settings = &proposal.settings;
    let peak = settings.trim.gain_db + profile.level.true_peak_dbtp;
    let (reference_words, ceiling) = if settings.de_reverb.on {
        ("for a limited voice after the de-reverb the limiter ceiling is set to", peak - DE_REVERB_LOSS_DB)
    } else {
        ("for a limited voice the limiter ceiling is set to", peak)
    };
    if ceiling < settings.limiter.ceiling_dbtp {
        let limited = Cause {
            reference_words,
            source: "measured on 24 recorded voices",
            ..Cause::new("the highest true peak after the trim", peak, ceiling, "dBTP")
        };
        proposal.decide(limited, "limiter.ceiling_dbtp", ceiling);
    }
}
