//! De-reverb: set from the decay time.

use super::known::finite;
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::reverberation::{DRY_DECAY_MS, LONG_DECAY_MS, SHORT_DECAY_MS, is_dry};
use crate::settings::{SpectralLatency, StageId, row};

/// Increase of the range at long decay times, dB. Chosen on the development recordings (see
/// tests/standards/DE_REVERB.md).
const LONG_DECAY_RANGE_DB: f64 = 3.0;
/// Change of the range at the shortest decay times, dB. Chosen on the development recordings (see
/// tests/standards/DE_REVERB.md).
const SHORT_DECAY_RANGE_DB: f64 = -2.0;

/// Proposes the de-reverb with the measured decay time, from 0.17 s on. The attenuation follows from the decay time: it
/// is small in a treated room. With a long decay time a larger range lowers the reverberation that is audible between
/// words; with a short one a smaller range preserves more of the voice.
pub(in crate::propose) fn de_reverb(profile: &Profile, proposal: &mut Proposal) {
    let dry_s = 1e-3 * DRY_DECAY_MS;
    let decay_s = match finite(profile.reverberation.map(|found| found.decay_time_s)) {
        Ok(decay_s) => decay_s,
        Err(why) => return proposal.leave_off(StageId::DeReverb, Cause::unknown("the decay time", why)),
    };
    let cause = Cause {
        reference_words: "the de-reverb is proposed from",
        source: "measured on 35 recorded voices in rooms",
        ..Cause::new("the decay time", decay_s, dry_s, "s")
    };
    if is_dry(decay_s) {
        return proposal.leave_off(StageId::DeReverb, cause);
    }
    proposal.decide(cause, "de_reverb.on", 1.0);
    proposal.decide(cause, "spectral.latency", f64::from(SpectralLatency::High as u8));
    let longest_s = row("de_reverb.decay_ms").map_or(f64::INFINITY, |info| 1e-3 * info.max);
    let decay = if decay_s > longest_s {
        Cause { reference_words: "the decay time setting is at most", reference: Some(longest_s), ..cause }
    } else {
        cause
    };
    proposal.decide(decay, "de_reverb.decay_ms", 1_000.0 * decay_s);

    let [[shortest_s, short_s], [long_s, longest_s]] =
        [SHORT_DECAY_MS, LONG_DECAY_MS].map(|ends| ends.map(|ms| 1e-3 * ms));
    let position_between = |s: f64, from: f64, to: f64| ((s - from) / (to - from)).clamp(0.0, 1.0);
    let change_db = SHORT_DECAY_RANGE_DB * position_between(decay_s, short_s, shortest_s)
        + LONG_DECAY_RANGE_DB * position_between(decay_s, long_s, longest_s);
    let usual_db = proposal.settings.de_reverb.range_db;
    let range_db = row("de_reverb.range_db").map_or(usual_db, |info| info.on_step(usual_db + change_db));
    let (reference_words, reference) = if change_db > 0.0 {
        ("the default range is sufficient up to", long_s)
    } else {
        ("the default range applies from", short_s)
    };
    if range_db != usual_db {
        let range = Cause {
            reference_words,
            reference: Some(reference),
            source: "chosen on recorded voices in rooms",
            ..cause
        };
        proposal.decide(range, "de_reverb.range_db", range_db);
    }
}
