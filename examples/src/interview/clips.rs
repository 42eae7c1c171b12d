//! Excerpts for the report: the same segment before and after processing, loudness-matched.

use super::Job;
use super::voice::Voice;
use crate::error::JobError;
use crate::report::Excerpt;
use crate::report::excerpt::{ClipBudget, encode_pair};
use crate::series::most_active_start_s;
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::math::from_db;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};

/// Cuts, loudness-matches and encodes the excerpt of a voice; `None` if it is silent or cannot be encoded.
pub(super) fn compare(voice: &mut Voice, budget: &ClipBudget, job: &Job) -> Result<Option<Excerpt>, JobError> {
    if voice.channels() == 1 { compare_in::<1>(voice, budget, job) } else { compare_in::<2>(voice, budget, job) }
}

fn compare_in<const C: usize>(voice: &mut Voice, budget: &ClipBudget, job: &Job) -> Result<Option<Excerpt>, JobError>
where
    [f32; C]: Frame,
{
    let rate_hz = job.delivery.rate_hz;
    let Ok(rate) = SampleRate::new(f64::from(rate_hz)) else { return Ok(None) };
    let drawn = voice.series().loudness_before;
    let start_s = most_active_start_s(&drawn, budget.seconds);
    let start = ((start_s * f64::from(rate_hz)) as u64)
        .min(voice.frames().saturating_sub((budget.seconds * f64::from(rate_hz)) as u64));
    let frames = (budget.seconds * f64::from(rate_hz)) as usize;
    let (mut before, mut after) = (Vec::new(), Vec::new());
    voice.recorded().seek(start)?;
    voice.recorded().read(&mut before, frames)?;
    voice.processed().seek(start)?;
    voice.processed().read(&mut after, frames)?;
    let balance = from_db(voice.balance_db) as f32;
    after.iter_mut().for_each(|sample| *sample *= balance);
    let (Some((lufs_before, peak_before)), Some((lufs_after, peak_after))) =
        (loudness_and_true_peak::<C>(&before, rate), loudness_and_true_peak::<C>(&after, rate))
    else {
        return Ok(None);
    };
    let loudness_match_db = lufs_after - lufs_before;
    let loudest = (peak_before + loudness_match_db).max(peak_after);
    let peak_attenuation_db = (loudest - job.delivery.ceiling_dbtp).max(0.0);
    let (gain_before, gain_after) =
        (from_db(loudness_match_db - peak_attenuation_db) as f32, from_db(-peak_attenuation_db) as f32);
    before.iter_mut().for_each(|sample| *sample *= gain_before);
    after.iter_mut().for_each(|sample| *sample *= gain_after);
    Ok(encode_pair(&before, &after, C, rate_hz, budget).ok().map(|(before, after)| Excerpt {
        start_s: start as f32 / rate_hz as f32,
        before,
        after,
        loudness_match_db,
        peak_attenuation_db,
    }))
}

/// Integrated loudness, LUFS, and true peak, dBTP; `None` for silence.
pub(crate) fn loudness_and_true_peak<const C: usize>(samples: &[f32], rate: SampleRate) -> Option<(f64, f64)> {
    let (frames, _) = samples.as_chunks::<C>();
    let mut meter = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
    let mut peak = TruePeakMeter::<C>::new(rate);
    meter.push(frames);
    peak.push(frames);
    peak.finish();
    Some((meter.integrated()?, peak.hold_dbtp().into_iter().fold(f64::NEG_INFINITY, f64::max)))
}
