//! De-reverb: the room.

use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::proposal::Proposal;
use crate::reverberation::{DRY_DECAY_MS, LONG_DECAY_MS, SHORT_DECAY_MS};
use crate::settings::SpectralLatency;

/// So much deeper is the range in rooms that ring for long, dB: of 0 and 3 the one that gains segmental ratio (0.3 dB) and
/// pauses (1.5 dB) in a room of 1.28 s for no more than .02 PESQ in noise, on both halves.
const LONG_DECAY_RANGE_DB: f64 = 3.0;
/// And in the shortest, dB: of -4.5, -2.25, 0 and 3 what gains PESQ (.01) and ESTOI (.001) there, for 0.3 dB of the pauses, on
/// the half that chooses.
const SHORT_DECAY_RANGE_DB: f64 = -2.0;

/// The de-reverb with the decay time that was measured, where that is longer than voices without any room read. How much it
/// takes then follows from the decay time: little of a dry voice, in a treated room. Where a room rings for long, a deeper
/// range lowers what is heard of it alone, between the words; in a short one a smaller leaves more of the voice.
pub(in crate::propose) fn de_reverb(profile: &Profile, proposal: &mut Proposal) {
    let dry_s = 1e-3 * DRY_DECAY_MS;
    let Some(reverberation) =
        profile.reverberation.ok().filter(|reverberation| (dry_s..f64::INFINITY).contains(&reverberation.decay_time_s))
    else {
        return;
    };
    let cause = Cause {
        reference_words: "a voice without any room reads less than",
        source: "measured on 22 recorded voices in rooms",
        ..Cause::new("the decay time", reverberation.decay_time_s, dry_s, "s")
    };
    proposal.decide(cause, "de_reverb.on", 1.0);
    proposal.decide(cause, "spectral.latency", f64::from(SpectralLatency::High as u8));
    proposal.decide(cause, "de_reverb.decay_ms", 1_000.0 * reverberation.decay_time_s);
    let [[shortest_s, short_s], [long_s, longest_s]] =
        [SHORT_DECAY_MS, LONG_DECAY_MS].map(|ends| ends.map(|ms| 1e-3 * ms));
    let how_far = |s: f64, from: f64, to: f64| ((s - from) / (to - from)).clamp(0.0, 1.0);
    let [short, long] = [
        how_far(reverberation.decay_time_s, short_s, shortest_s),
        how_far(reverberation.decay_time_s, long_s, longest_s),
    ];
    if short + long > 0.0 {
        let (reference_words, reference) = if long > 0.0 {
            ("the usual range is enough up to", long_s)
        } else {
            ("the usual range is for rooms from", short_s)
        };
        let cause = Cause {
            reference_words,
            source: "chosen on recorded voices in rooms",
            ..Cause::new("the decay time", reverberation.decay_time_s, reference, "s")
        };
        let range_db = proposal.settings.de_reverb.range_db + short * SHORT_DECAY_RANGE_DB + long * LONG_DECAY_RANGE_DB;
        proposal.decide(cause, "de_reverb.range_db", range_db);
    }
}
