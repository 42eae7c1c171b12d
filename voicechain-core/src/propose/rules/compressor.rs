//! Compressor: set from the voice itself and therefore independent of its level.

use super::known::{finite, known};
use super::limited::{HIGHEST_PEAK, LIMITED_PEAK_DB, highest_peak_db};
use crate::measure::Profile;
use crate::propose::cause::Cause;
use crate::propose::context::{Context, ContextReason, Role};
use crate::propose::proposal::Proposal;
use crate::settings::{StageId, row};

/// Distance of the threshold below the peaks of loud speech, dB. The 95th percentile of gain reduction is then from 3
/// to 6 dB at 2.5:1, and below 3 dB for a voice of even level (see tests/accuracy/RESULTS.md).
const BELOW_PEAKS_DB: f64 = 4.5;
/// Additional distance for a voice over music, dB (common practice, no source).
const OVER_MUSIC_DB: f64 = 1.5;
/// Standard deviation of the speech level up to which it is even, dB.
const EVEN_SPREAD_DB: f64 = 3.0;
/// Ratio for an even voice, and where noise would rise. Chosen on recordings of both halves (see
/// tests/accuracy/RESULTS.md).
const GENTLE_RATIO: f64 = 1.4;
/// Ratio for an uneven voice: of 2, 2.5 and 3, the smallest with 3 dB of gain reduction for each of ten such voices, of
/// both halves.
const RATIO: f64 = 2.5;
/// Ratio for a voice rich in transients or over music (common practice, no source).
const FIRM_RATIO: f64 = 4.0;
/// Attack and release, ms. Onsets pass; fricatives and pauses keep the gain of the vowels around them. With 20 and 600
/// ms, bands above 4 kHz rise by 0.3 dB more; with 5 and 100 ms and automatic release, they rise by 2 dB and pauses by
/// 3 dB. Chosen on recordings of both halves.
const ATTACK_MS: f64 = 40.0;
const RELEASE_MS: f64 = 1_500.0;
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
/// Attack for a voice rich in transients, ms (common practice, no source).
const ATTACK_FOR_TRANSIENTS_MS: f64 = 2.5;

const MEASURED: &str = "measured on 24 recorded voices";

/// Level of the louder channel above (L+R)/2, dB: 0 for one channel and for two equal ones, 6 when one is silent.
/// Speech is measured on (L+R)/2, but the louder channel drives the compressor of both. Computed from the sample peak,
/// which is always known.
fn louder_channel_db(profile: &Profile) -> f64 {
    let level = &profile.level;
    let (Some(active), Some(crest)) = (known(level.active_level_dbov), known(level.crest_db)) else { return 0.0 };
    let over = level.sample_peak_dbfs - (active + crest);
    if profile.channels == 2 && over.is_finite() { over.clamp(0.0, 6.0) } else { 0.0 }
}

/// Proposes 2.5:1 with the threshold below the peaks of loud speech, a slow attack and a slow release; 4:1 for many
/// transients or over music, 1.4:1 for a voice of even level and where noise would rise. Many transients need a faster
/// attack and release. A voice that comes compressed or limited gets no compressor. After the leveller the
/// speech level is the leveller's target: peaks measured on uneven phrases are those of the loud ones.
pub(in crate::propose) fn compressor(profile: &Profile, context: Context, proposal: &mut Proposal) {
    let peak = match finite(profile.level.speech_peak_dbfs) {
        Ok(peak) => peak,
        Err(why) => {
            let unknown = Cause::unknown("the 95th percentile of speech peaks", why);
            return proposal.leave_off(StageId::Compressor, unknown);
        }
    };
    if let Some(crest) = known(profile.level.crest_db).filter(|&crest| crest < COMPRESSED_CREST_DB) {
        let compressed = Cause {
            reference_words: "a voice is already compressed below",
            ..Cause::new("the crest factor", crest, COMPRESSED_CREST_DB, "dB")
        };
        return proposal.leave_off(StageId::Compressor, compressed);
    }
    if let Some(highest) = highest_peak_db(profile).filter(|&db| db < LIMITED_PEAK_DB) {
        let limited = Cause {
            reference_words: "a voice is already limited below",
            source: MEASURED,
            ..Cause::new(HIGHEST_PEAK, highest, LIMITED_PEAK_DB, "dB")
        };
        return proposal.leave_off(StageId::Compressor, limited);
    }
    let snr = known(profile.background_noise.snr_db).unwrap_or(f64::INFINITY);
    let noise = |reference_words, reference| Cause {
        reference_words,
        ..Cause::new("the signal-to-noise ratio", snr, reference, "dB")
    };
    if snr < NOISY_DB[1] {
        return proposal.leave_off(StageId::Compressor, noise("compression would raise the noise below", NOISY_DB[1]));
    }
    let above_mono = louder_channel_db(profile);
    let leveller = proposal.settings.leveller;
    // After the trim the peaks are those measured; after the leveller, those of its target.
    let (peak, [mono, louder]) = if leveller.on {
        let words = [
            "the typical peak level of speech after the leveller",
            "the typical peak level of speech in the louder channel after the leveller",
        ];
        (leveller.target_lufs + PEAKS_OVER_LOUDNESS_DB, words)
    } else {
        let words = [
            "the 95th percentile of speech peaks after the trim",
            "the 95th percentile of speech peaks in the louder channel after the trim",
        ];
        (peak + proposal.settings.trim.gain_db, words)
    };
    let quantity = if above_mono > 0.0 { louder } else { mono };
    let cause = threshold(quantity, peak + above_mono, context);
    proposal.decide(cause, "compressor.on", 1.0);
    proposal.decide(cause, "compressor.threshold_db", cause.reference.unwrap_or_default());

    let transients = known(profile.transients.map(|s| s.per_10_s)).map(|count| Cause {
        source: MEASURED,
        reference_words: "a typical voice has fewer than",
        ..Cause::new("the number of transients per 10 s", count, MANY_TRANSIENTS_PER_10_S, "")
    });
    let many = |cause: &Cause| cause.difference().is_some_and(|over| over >= 0.0);
    let (many_transients, few_transients) = (transients.filter(many), transients.filter(|cause| !many(cause)));
    let over_music = (context.role == Role::OverMusic).then_some(ContextReason::OverMusic);
    let even = even(profile);
    let (ratio, ratio_cause) = if snr < NOISY_DB[0] {
        (GENTLE_RATIO, noise("compression is gentle below", NOISY_DB[0]))
    } else {
        match (many_transients, over_music, even) {
            // Each of the two would suffice.
            (Some(transients), context, _) => (FIRM_RATIO, Cause { context, ..transients }),
            (None, Some(context), _) => (FIRM_RATIO, Cause::of_context(context)),
            (None, None, Some(even)) => (GENTLE_RATIO, even),
            (None, None, None) => (RATIO, Cause { source: MEASURED, ..cause }),
        }
    };
    proposal.decide(ratio_cause, "compressor.ratio", ratio);
    if let Some(transients) = many_transients {
        proposal.decide(transients, "compressor.attack_ms", ATTACK_FOR_TRANSIENTS_MS);
    }
    // After a transient a slow release would leave a dip.
    if let Some(transients) = few_transients {
        proposal.decide(transients, "compressor.attack_ms", ATTACK_MS);
        proposal.decide(transients, "compressor.release_ms", RELEASE_MS);
        proposal.decide(transients, "compressor.auto_release", 0.0);
    }
}

/// Cause of gentle compression, if the level of the voice is even.
fn even(profile: &Profile) -> Option<Cause> {
    let deviation = known(profile.level_consistency.map(|consistency| consistency.standard_deviation_db))?;
    let even = Cause {
        reference_words: "compression is gentle up to",
        source: MEASURED,
        ..Cause::new("the standard deviation of the speech level", deviation, EVEN_SPREAD_DB, "dB")
    };
    (deviation <= EVEN_SPREAD_DB).then_some(even)
}

/// Cause of the threshold, which is its reference.
fn threshold(quantity: &'static str, peak_dbfs: f64, context: Context) -> Cause {
    let below = |role| BELOW_PEAKS_DB + if role == Role::OverMusic { OVER_MUSIC_DB } else { 0.0 };
    // In steps of 0.5 dB.
    let wanted_for = |role| libm::round(2.0 * (peak_dbfs - below(role))) * 0.5;
    let wanted = wanted_for(context.role);
    let within = |wanted: f64| row("compressor.threshold_db").map_or(wanted, |info| wanted.clamp(info.min, info.max));
    let threshold = within(wanted);
    Cause {
        // The music is a cause only where it changes the threshold.
        context: (threshold != within(wanted_for(Role::SoloVoice))).then_some(ContextReason::OverMusic),
        reference_words: if wanted > threshold {
            "the compressor threshold is at most"
        } else if wanted < threshold {
            "the compressor threshold is at least"
        } else {
            "the compressor threshold is set to"
        },
        confidence: 0.9,
        source: MEASURED,
        ..Cause::new(quantity, peak_dbfs, threshold, "dBFS")
    }
}
