//! The excerpts of the report: the same stretch before and after, at the same loudness.

use super::Job;
use super::voice::Voice;
use crate::error::JobError;
use crate::report::Excerpt;
use crate::report::excerpt::{Plan, encode_pair};
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::math::from_db;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, TruePeakMeter};

/// The stretch of `seconds` in which the voice speaks most, its beginning in seconds.
fn busiest(times: &[f32], lufs: &[f32], seconds: f64) -> f64 {
    let step = if times.len() > 1 { f64::from(times[1] - times[0]) } else { 0.1 };
    let window = ((seconds / step) as usize).clamp(1, lufs.len().max(1));
    let energy = |v: &f32| 10f64.powf(f64::from(*v).max(-70.0) / 10.0);
    // The mean of the roots favours steady speech over a single loud word.
    let weights: Vec<f64> = lufs.iter().map(|v| energy(v).sqrt()).collect();
    let mut sum: f64 = weights.iter().take(window).sum();
    let (mut best, mut at) = (sum, 0);
    for end in window..weights.len() {
        sum += weights[end] - weights[end - window];
        if sum > best {
            (best, at) = (sum, end + 1 - window);
        }
    }
    at as f64 * step
}

/// Cuts and encodes both sides.
pub(super) fn compare(voice: &mut Voice, plan: &Plan, job: &Job) -> Result<Option<Excerpt>, JobError> {
    if voice.channels() == 1 { compare_in::<1>(voice, plan, job) } else { compare_in::<2>(voice, plan, job) }
}

fn compare_in<const C: usize>(voice: &mut Voice, plan: &Plan, job: &Job) -> Result<Option<Excerpt>, JobError>
where
    [f32; C]: Frame,
{
    let rate_hz = job.delivery.rate_hz;
    let Ok(rate) = SampleRate::new(f64::from(rate_hz)) else { return Ok(None) };
    let drawn = voice.series().loudness_before;
    let start_s = busiest(&drawn.seconds, &drawn.values, plan.seconds);
    let start = ((start_s * f64::from(rate_hz)) as u64)
        .min(voice.frames().saturating_sub((plan.seconds * f64::from(rate_hz)) as u64));
    let frames = (plan.seconds * f64::from(rate_hz)) as usize;
    let (mut before, mut after) = (Vec::new(), Vec::new());
    voice.recorded().seek(start)?;
    voice.recorded().read(&mut before, frames)?;
    voice.processed().seek(start)?;
    voice.processed().read(&mut after, frames)?;
    let balance = from_db(voice.balance_db) as f32;
    after.iter_mut().for_each(|sample| *sample *= balance);
    let (Some((lufs_before, peak_before)), Some((lufs_after, peak_after))) =
        (loudness::<C>(&before, rate), loudness::<C>(&after, rate))
    else {
        return Ok(None);
    };
    let match_db = lufs_after - lufs_before;
    let loudest = (peak_before + match_db).max(peak_after);
    let both_lowered_db = (loudest - job.delivery.ceiling_dbtp).max(0.0);
    let (gain_before, gain_after) = (from_db(match_db - both_lowered_db) as f32, from_db(-both_lowered_db) as f32);
    before.iter_mut().for_each(|sample| *sample *= gain_before);
    after.iter_mut().for_each(|sample| *sample *= gain_after);
    Ok(encode_pair(&before, &after, C, rate_hz, plan).ok().map(|(before, after)| Excerpt {
        start_s: start as f32 / rate_hz as f32,
        before,
        after,
        match_db,
        both_lowered_db,
    }))
}

/// Integrated loudness and true peak; `None` for silence.
fn loudness<const C: usize>(samples: &[f32], rate: SampleRate) -> Option<(f64, f64)> {
    let (frames, _) = samples.as_chunks::<C>();
    let mut meter = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
    let mut peak = TruePeakMeter::<C>::new(rate);
    meter.push(frames);
    peak.push(frames);
    peak.finish();
    Some((meter.integrated()?, peak.hold_dbtp().into_iter().fold(f64::NEG_INFINITY, f64::max)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_busiest_stretch_is_where_the_voice_is() {
        let times: Vec<f32> = (0..1_000).map(|i| i as f32 * 0.1).collect();
        let lufs: Vec<f32> = (0..1_000).map(|i| if (400..600).contains(&i) { -20.0 } else { -60.0 }).collect();
        assert!((busiest(&times, &lufs, 20.0) - 40.0).abs() < 0.2);
        assert_eq!(busiest(&[], &[], 20.0), 0.0);
    }
}
