//! Compressor: set from the voice itself and therefore independent of its level.

use super::known::known;
use crate::measure::Profile;
use crate::propose::cause::{COMMON_PRACTICE, Cause};
use crate::propose::context::{Context, Role};
use crate::propose::proposal::Proposal;
use crate::propose::warning::Warning;

/// Distance of the threshold below the peaks of loud speech, dB, at 3:1. The 95th percentile of gain reduction is then
/// from 3 to 6 dB in nine voices of ten (see tests/accuracy/RESULTS.md).
const THRESHOLD_BELOW_PEAKS_DB: f64 = 7.0;
/// Additional distance for a voice over music, dB (common practice, no source).
const OVER_MUSIC_DB: f64 = 1.5;
/// Transients per 10 s from which a voice is rich in transients. Chosen on the development recordings (see
/// tests/accuracy/RESULTS.md).
const MANY_TRANSIENTS_PER_10_S: f64 = 2.0;
/// Crest factor below which a voice is already compressed, dB (common practice, no source).
pub(super) const COMPRESSED_CREST_DB: f64 = 9.0;
/// Signal-to-noise ratio below which compression is gentle, and below which none is proposed, dB (common practice, no
/// source).
pub(super) const NOISY_DB: [f64; 2] = [20.0, 10.0];
/// Typical distance of the 95th-percentile peak above loudness, dB: median of the development recordings; nine of ten
/// lie from 12 to 16.
const PEAKS_OVER_LOUDNESS_DB: f64 = 15.0;
/// Gain reduction on loud phrases above which the compressor acts almost continuously, dB (common practice, no source).
const HEAVY_REDUCTION_DB: f64 = 7.0;

/// Level of the louder channel above (L+R)/2, dB: 0 for one channel and for two equal ones, 6 when one is silent.
/// Speech is measured on (L+R)/2, but the louder channel drives the compressor of both. Computed from the sample peak,
/// which is always known.
fn louder_channel_db(profile: &Profile) -> f64 {
    let level = &profile.level;
    let (Some(active), Some(crest)) = (known(level.active_level_dbov), known(level.crest_db)) else { return 0.0 };
    let over = level.sample_peak_dbfs - (active + crest);
    if profile.channels == 2 && over.is_finite() { over.clamp(0.0, 6.0) } else { 0.0 }
}

/// Proposes about 3:1 with the threshold below the peaks of loud speech; a higher ratio for many transients, a lower
/// one where noise would rise. After the leveller the speech level is the leveller's target: peaks measured on uneven
/// phrases are those of the loud ones.
pub(in crate::propose) fn compressor(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let Some(peak) = known(profile.level.speech_peak_dbfs) else { return };
    if known(profile.level.crest_db).is_some_and(|crest| crest < COMPRESSED_CREST_DB) {
        return;
    }
    let snr = known(profile.background_noise.snr_db).unwrap_or(f64::INFINITY);
    if snr < NOISY_DB[1] {
        return;
    }
    let transients = profile.transients.map_or(0.0, |s| s.per_10_s);
    let many_transients = transients >= MANY_TRANSIENTS_PER_10_S;
    let leveller = proposal.settings.leveller;
    let noisy = snr < NOISY_DB[0];

    let mut under = THRESHOLD_BELOW_PEAKS_DB;
    if context.role == Role::OverMusic {
        under += OVER_MUSIC_DB;
    }
    let ratio = match (noisy, many_transients || context.role == Role::OverMusic) {
        (true, _) => 2.0,
        (false, true) => 4.0,
        (false, false) => 3.0,
    };
    let (peaks, speech_peak) = if leveller.on {
        ("the typical peak level of speech after the leveller", leveller.target_lufs + PEAKS_OVER_LOUDNESS_DB)
    } else {
        ("the 95th percentile of speech peaks after the trim", peak + proposal.settings.trim.gain_db)
    };
    let level = speech_peak + louder_channel_db(profile);
    let threshold = libm::round(2.0 * (level - under)) * 0.5;
    let cause = Cause {
        reference_words: "the compressor threshold is set to",
        confidence: 0.9,
        source: "measured on 24 recorded voices",
        ..Cause::new(peaks, level, threshold, "dBFS")
    };
    proposal.decide(cause, "compressor.on", 1.0);
    proposal.decide(cause, "compressor.threshold_db", threshold);

    let ratio_cause = if noisy {
        Cause {
            reference_words: "compression is gentle below",
            ..Cause::new("the signal-to-noise ratio", snr, NOISY_DB[0], "dB")
        }
    } else if many_transients {
        Cause {
            source: "measured on 24 recorded voices",
            reference_words: "a typical voice has fewer than",
            ..Cause::new("the number of transients per 10 s", transients, MANY_TRANSIENTS_PER_10_S, "")
        }
    } else {
        Cause { source: COMMON_PRACTICE, ..cause }
    };
    proposal.decide(ratio_cause, "compressor.ratio", ratio);
    if many_transients {
        proposal.decide(ratio_cause, "compressor.attack_ms", 2.5);
    }
    let reduction = (1.0 - 1.0 / ratio) * under;
    if reduction > HEAVY_REDUCTION_DB {
        proposal.warn(Warning::ContinuousCompression(reduction));
    }
}
