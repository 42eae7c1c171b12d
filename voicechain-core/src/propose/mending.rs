//! What mends a recording: mains hum, the room, the noise between the words, phrases of different levels.

use super::dynamics::USUAL_SPREAD_DB;
use super::{Profile, Proposal, Reason, known};
use crate::measure::hum;
use crate::measure::profile::HUM_LINES;
use crate::settings::{DeReverbVariant, Mains};
use crate::stages::de_reverb::{DRY_MS, LONG_MS, SHORT_MS};

/// Hum at the frequency of the mains, with more lines where the last one that is looked at stands out.
pub(super) fn hum(profile: &Profile, proposal: &mut Proposal) {
    let (Ok(Some(found)), Some(voice)) = (profile.hum, known(profile.level.active_level_dbov)) else { return };
    let under = found.level_dbfs - voice;
    if !under.is_finite() || !found.frequency_hz.is_finite() {
        return;
    }
    let reason = Reason {
        place_hz: Some(found.frequency_hz),
        reference_words: "a voice covers what is under",
        confidence: 0.9,
        ..Reason::new("the mains hum against the voice", under, -hum::UNDER_VOICE_DB, "dB")
    };
    proposal.decide(reason, "hum.on", 1.0);
    if found.frequency_hz > 55.0 {
        proposal.decide(reason, "hum.mains", f64::from(Mains::Hz60 as u8));
    }
    if found.lines_dbfs[HUM_LINES - 1].is_some() {
        proposal.decide(reason, "hum.harmonics", 2.0 * HUM_LINES as f64);
    }
}

/// The de-reverb with the decay time that was measured, where that is longer than voices without any room read. How much it
/// takes then follows from the decay time: little of a dry voice, in a treated room. Where a room rings for long, a deeper
/// range lowers what is heard of it alone, between the words; in a short one a smaller leaves more of the voice.
pub(super) fn de_reverb(profile: &Profile, proposal: &mut Proposal) {
    let dry_s = 1e-3 * DRY_MS;
    let Some(room) = profile.room.ok().filter(|room| (dry_s..f64::INFINITY).contains(&room.decay_time_s)) else {
        return;
    };
    let reason = Reason {
        reference_words: "a voice without any room reads less than",
        source: "measured on 22 recorded voices in rooms, command reach room",
        ..Reason::new("the decay time", room.decay_time_s, dry_s, "s")
    };
    proposal.decide(reason, "de_reverb.on", 1.0);
    proposal.decide(reason, "de_reverb.variant", f64::from(DeReverbVariant::Long as u8));
    proposal.decide(reason, "de_reverb.decay_ms", 1_000.0 * room.decay_time_s);
    let [[shortest_s, short_s], [long_s, longest_s]] = [SHORT_MS, LONG_MS].map(|ends| ends.map(|ms| 1e-3 * ms));
    let how_far = |s: f64, from: f64, to: f64| ((s - from) / (to - from)).clamp(0.0, 1.0);
    let [short, long] =
        [how_far(room.decay_time_s, short_s, shortest_s), how_far(room.decay_time_s, long_s, longest_s)];
    if short + long > 0.0 {
        let (reference_words, reference) = if long > 0.0 {
            ("the usual range is enough up to", long_s)
        } else {
            ("the usual range is for rooms from", short_s)
        };
        let reason = Reason {
            reference_words,
            source: "chosen on recorded voices in rooms, tests/standards/de_reverb.py",
            ..Reason::new("the decay time", room.decay_time_s, reference, "s")
        };
        let range_db = proposal.settings.de_reverb.range_db + short * SHORT_ROOM_DB + long * LONG_ROOM_DB;
        proposal.decide(reason, "de_reverb.range_db", range_db);
    }
}

/// So much deeper is the range in rooms that ring for long, dB: of 0 and 3 the one that gains segmental ratio (0.3 dB) and
/// pauses (1.5 dB) in a room of 1.28 s for no more than .02 PESQ in noise, on both halves.
const LONG_ROOM_DB: f64 = 3.0;
/// And in the shortest, dB: of -4.5, -2.25, 0 and 3 what gains PESQ (.01) and ESTOI (.001) there, for 0.3 dB of the pauses, on
/// the half that chooses.
const SHORT_ROOM_DB: f64 = -2.0;

/// Noise that lies less than this under the voice is heard between its words, dB (common practice, no source).
const NOISY_DB: f64 = 25.0;
/// So far under the voice the pauses are brought, dB, by no less and no more than this (common practice, no source).
const QUIET_DB: f64 = 30.0;
const RANGE_DB: [f64; 2] = [5.0, 15.0];
/// Under this the detector no longer tells every word from the noise, dB: it is not proposed (bands of a voice have to stand
/// 12 dB out of the noise).
const LEAST_SNR_DB: f64 = 6.0;

/// Turned on by a poor signal-to-noise ratio; the poorer, the more it takes from the pauses.
pub(super) fn expander(profile: &Profile, proposal: &mut Proposal) {
    let Some(snr) = known(profile.ground.snr_db).filter(|snr| (LEAST_SNR_DB..NOISY_DB).contains(snr)) else { return };
    let reason = Reason {
        reference_words: "quiet is at least",
        ..Reason::new("the signal-to-noise ratio", snr, NOISY_DB, "dB")
    };
    proposal.decide(reason, "expander.on", 1.0);
    proposal.decide(reason, "expander.range_db", (QUIET_DB - snr).clamp(RANGE_DB[0], RANGE_DB[1]));
}

/// Raised by no more than leaves the noise so far under the voice, dB, but by this much at least (common practice, no source).
const NOISE_UNDER_DB: f64 = 12.0;
const LEAST_RISE_DB: f64 = 3.0;

/// Turned on by phrases that differ by more than those of clean readings; quiet phrases are raised less where noise would rise
/// with them.
pub(super) fn leveller(profile: &Profile, proposal: &mut Proposal) {
    let Some(phrases) = profile.phrases.ok().filter(|phrases| phrases.spread_db > USUAL_SPREAD_DB) else { return };
    let reason = Reason {
        reference_words: "usual is at most",
        source: "measured on 24 recorded voices, command reach levels",
        ..Reason::new("the spread of the phrases' levels", phrases.spread_db, USUAL_SPREAD_DB, "dB")
    };
    proposal.decide(reason, "leveller.on", 1.0);
    let usual = proposal.settings.leveller.rise_db;
    let Some(snr) = known(profile.ground.snr_db).filter(|snr| snr - NOISE_UNDER_DB < usual) else { return };
    let rise = Reason {
        reference_words: "phrases are raised no further than to",
        ..Reason::new("the signal-to-noise ratio", snr, NOISE_UNDER_DB, "dB")
    };
    proposal.decide(rise, "leveller.rise_db", (snr - NOISE_UNDER_DB).clamp(LEAST_RISE_DB, usual));
}
