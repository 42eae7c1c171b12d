//! Programme mix: all voices balanced, summed, brought to the target loudness and limited.

use super::job::Job;
use super::levels::{levels, measure, reduction};
use super::voice::Voice;
use crate::error::{JobError, JobErrorKind};
use crate::progress::{Progress, advance};
use crate::report::data::{Levels, Mix};
use crate::report::excerpt::{self, Clip, ClipBudget};
use crate::report::{LoudnessWindow, MixSeries};
use crate::series::{BoundedSeries, Decimation};
use crate::wav_file::{Spool, SpoolReader, WavFile};
use std::path::Path;
use voicechain_core::SampleRate;
use voicechain_core::math::from_db;
use voicechain_core::meters::{ChannelWeights, GainReductionMeter, LoudnessMeter, TruePeakMeter};
use voicechain_core::settings::LimiterSettings;
use voicechain_core::stages::{Limiter, Processor};

/// Loudness of every balanced voice in the stereo mix, LUFS (EBU R 128 programme level); lower if a peak exceeds
/// [`VOICE_CEILING_DBTP`].
const BALANCE_LUFS: f64 = -23.0;
/// True-peak ceiling of the balanced voices, dBTP.
const VOICE_CEILING_DBTP: f64 = -1.0;
/// Initial margin between the programme limiter's ceiling and the target ceiling, dB. The four-fold oversampled meter
/// of ITU-R BS.1770 may read up to 0.2 dB more than a finer one.
const METER_MARGIN_DB: f64 = 0.1;
/// Tolerance of the iteration towards the target loudness, LU.
const LOUDNESS_TOLERANCE_LU: f64 = 0.02;
/// Maximum number of iterations to meet loudness and ceiling together.
const ATTEMPTS: usize = 8;
/// Maximum increase of a peak by 16-bit dither: 1 LSB.
const LSB_16_BIT: f64 = 1.0 / 32_768.0;
const CHUNK: usize = 4_096;

/// Sets the balance gain of every voice so that all are equally loud in the stereo mix.
pub(super) fn balance(voices: &mut [Voice]) {
    let mut lowered: f64 = 0.0;
    for voice in voices.iter_mut() {
        let output = voice.output();
        if let Some(lufs) = output.integrated_lufs {
            voice.balance_db = BALANCE_LUFS - lufs;
            let peak = output.true_peak_dbtp.unwrap_or(-200.0) + voice.balance_db;
            lowered = lowered.max(peak - VOICE_CEILING_DBTP);
        } else {
            voice.warn("the processed voice is silent (nothing above −70 LUFS): not balanced".into());
        }
    }
    for voice in voices {
        voice.balance_db -= lowered;
    }
}

/// Stereo sum of all voices, before programme gain and limiter.
pub(super) struct Programme {
    sum: SpoolReader,
    delivered: Option<SpoolReader>,
    rate: SampleRate,
    loudness: BoundedSeries,
    limiter: BoundedSeries,
}

/// Finished mix whose file is not renamed yet.
pub(super) struct Delivered {
    pub(super) data: Mix,
    pub(super) file: WavFile,
}

/// Parameters of one iteration: programme gain and limiter ceiling.
#[derive(Clone, Copy)]
struct Attempt {
    gain_db: f64,
    ceiling_dbtp: f64,
}

/// Measurements of one iteration.
struct Outcome {
    levels: Levels,
    reduction: GainReductionMeter,
}

impl Programme {
    /// Writes every balanced voice to its file, and their sum to a spool.
    pub(super) fn sum(
        voices: &mut [Voice],
        files: &mut [WavFile],
        job: &Job,
        folder: &Path,
        progress: &mut dyn Progress,
    ) -> Result<Self, JobError> {
        let longest = voices.iter().map(Voice::frames).max().unwrap_or(0);
        progress.step("mixing", Some(longest));
        let rate = SampleRate::new(f64::from(job.delivery.rate_hz))
            .map_err(|e| JobError::new(JobErrorKind::Rate, e.to_string(), "use 44100 or 48000 Hz"))?;
        let mut spool = Spool::create(folder, 2)?;
        let mut chunk = Vec::new();
        for voice in voices.iter_mut() {
            voice.processed().rewind()?;
        }
        let mut at = 0;
        while at < longest {
            let n = CHUNK.min((longest - at) as usize);
            let mut mix = vec![0.0f32; 2 * n];
            for (voice, file) in voices.iter_mut().zip(files.iter_mut()) {
                let gain = from_db(voice.balance_db) as f32;
                let channels = voice.channels();
                voice.processed().read(&mut chunk, n)?;
                chunk.iter_mut().for_each(|sample| *sample *= gain);
                file.write(&chunk)?;
                for (out, frame) in mix.chunks_exact_mut(2).zip(chunk.chunks_exact(channels)) {
                    out[0] += frame[0];
                    out[1] += frame[channels - 1];
                }
            }
            spool.write(&mix)?;
            at += n as u64;
            advance(progress, at)?;
        }
        Ok(Self {
            sum: spool.into_reader()?,
            delivered: None,
            rate,
            loudness: BoundedSeries::new(0.1, Decimation::Mean),
            limiter: BoundedSeries::new(0.1, Decimation::Minimum),
        })
    }

    /// Finds the gain and ceiling that together meet the target, and writes the mix.
    pub(super) fn deliver(
        &mut self,
        job: &Job,
        folder: &Path,
        warnings: &mut Vec<String>,
        progress: &mut dyn Progress,
    ) -> Result<Delivered, JobError> {
        let target = &job.delivery;
        let sum = measure::<2>(&mut self.sum, self.rate)?;
        let Some(lufs) = sum.integrated_lufs else {
            return Err(JobError::new(JobErrorKind::NoSound, "the mix is silent", "check the recordings"));
        };
        let dither = if target.format.bits() == 16 { LSB_16_BIT } else { 0.0 };
        // Highest true peak before dither, dBTP.
        let allowed = 20.0 * (from_db(target.ceiling_dbtp) - dither).log10();
        let mut attempt =
            Attempt { gain_db: target.integrated_lufs - lufs, ceiling_dbtp: (allowed - METER_MARGIN_DB).max(-12.0) };
        for _ in 0..ATTEMPTS {
            progress.step("finding the programme gain", Some(self.sum.frames()));
            let result = self.run(attempt, None, progress)?;
            let off = target.integrated_lufs - result.levels.integrated_lufs.unwrap_or(target.integrated_lufs);
            let over = result.levels.true_peak_dbtp.unwrap_or(-200.0) - allowed;
            if off.abs() <= LOUDNESS_TOLERANCE_LU && over <= 0.0 {
                break;
            }
            attempt.gain_db = (attempt.gain_db + off).clamp(-60.0, 60.0);
            if over > 0.0 {
                attempt.ceiling_dbtp = (attempt.ceiling_dbtp - over - 0.01).max(-12.0);
            }
        }
        progress.step("writing the mix", Some(self.sum.frames()));
        let mut file = WavFile::create(folder.join("mix.wav"), target.rate_hz, 2, target.format)?;
        let spool = Spool::create(folder, 2)?;
        let result = self.run(attempt, Some((&mut file, spool)), progress)?;
        if let Some(lufs) = result.levels.integrated_lufs
            && (lufs - target.integrated_lufs).abs() > target.tolerance_lu
        {
            warnings.push(format!(
                "the mix has {lufs:.1} LUFS instead of {:.1} LUFS: a louder mix would need too much limiting",
                target.integrated_lufs
            ));
        }
        if result.reduction.percentile_db(95.0).unwrap_or(0.0) > 3.0 {
            warnings.push(
                "the gain reduction of the programme limiter exceeds 3 dB for 5 % of the time: a lower target \
                           loudness would sound cleaner"
                    .into(),
            );
        }
        let data = Mix {
            integrated_lufs: result.levels.integrated_lufs,
            loudness_range_lu: result.levels.loudness_range_lu,
            true_peak_dbtp: result.levels.true_peak_dbtp,
            sample_peak_dbfs: result.levels.sample_peak_dbfs,
            sample_rate_hz: target.rate_hz,
            bits: target.format.bits(),
            channels: 2,
            duration_s: self.sum.frames() as f64 / self.rate.hz(),
            programme_gain_db: attempt.gain_db,
            limiter: reduction(Some(&result.reduction)),
        };
        Ok(Delivered { data, file })
    }

    /// Runs gain and limiter over the sum and measures the result. With `write` it also writes the mix and records the
    /// plotted series.
    fn run(
        &mut self,
        attempt: Attempt,
        mut write: Option<(&mut WavFile, Spool)>,
        progress: &mut dyn Progress,
    ) -> Result<Outcome, JobError> {
        let settings = LimiterSettings { ceiling_dbtp: attempt.ceiling_dbtp, ..LimiterSettings::default() };
        let design = |e: voicechain_core::SettingError| {
            JobError::new(JobErrorKind::Usage, e.to_string(), "correct this setting")
        };
        let mut limiter = Box::new(Processor::<Limiter, 2>::design(&settings, self.rate).map_err(design)?);
        let latency = u64::from(limiter.latency());
        let mut loudness = Box::new(LoudnessMeter::<2>::new(self.rate, ChannelWeights::default()));
        let mut peak = TruePeakMeter::<2>::new(self.rate);
        let mut meter = GainReductionMeter::default();
        let gain = from_db(attempt.gain_db) as f32;
        let step = (self.rate.hz() / 100.0) as usize;
        let total = self.sum.frames();
        let (mut chunk, mut fed, mut written, mut steps, mut max_reduction_db) = (Vec::new(), 0u64, 0u64, 0u64, 0.0f64);
        self.sum.rewind()?;
        while written < total {
            self.sum.read(&mut chunk, step)?;
            chunk.resize(2 * step, 0.0);
            chunk.iter_mut().for_each(|sample| *sample *= gain);
            let (frames, _) = chunk.as_chunks_mut::<2>();
            limiter.run(frames);
            let reduction_db = limiter.take_reduction_db();
            fed += step as u64;
            let drop = latency.saturating_sub(fed - step as u64).min(step as u64);
            let take = (step as u64 - drop).min(total - written);
            let (from, to) = (drop as usize, (drop + take) as usize);
            let out = &frames[from..to];
            loudness.push(out);
            peak.push(out);
            let loud = loudness.momentary().is_some_and(|lufs| lufs > -50.0);
            meter.push(reduction_db, loud);
            max_reduction_db = max_reduction_db.max(reduction_db);
            written += take;
            steps += 1;
            if let Some((file, spool)) = &mut write {
                file.write(&chunk[2 * from..2 * to])?;
                spool.write(&chunk[2 * from..2 * to])?;
                if steps % 10 == 0 {
                    self.loudness.push(loudness.momentary().unwrap_or(f64::NEG_INFINITY) as f32);
                    self.limiter.push(-max_reduction_db as f32);
                    max_reduction_db = 0.0;
                }
            }
            advance(progress, written)?;
        }
        peak.finish();
        if let Some((_, spool)) = write {
            self.delivered = Some(spool.into_reader()?);
        }
        Ok(Outcome { levels: levels(&loudness, &peak), reduction: meter })
    }

    /// Series for the plots of the report page.
    pub(super) fn series(&self) -> MixSeries {
        MixSeries {
            window: LoudnessWindow::Momentary,
            loudness: self.loudness.to_series(),
            limiter_gain: self.limiter.to_series(),
            excerpt: None,
        }
    }

    /// Clip from the middle of the delivered mix, with its start in seconds.
    pub(super) fn excerpt(&mut self, budget: &ClipBudget, rate_hz: u32) -> Result<Option<(f32, Clip)>, JobError> {
        let Some(delivered) = &mut self.delivered else { return Ok(None) };
        let frames = (budget.seconds * f64::from(rate_hz)) as u64;
        let start = delivered.frames().saturating_sub(frames) / 2;
        delivered.seek(start)?;
        let mut samples = Vec::new();
        delivered.read(&mut samples, frames as usize)?;
        let clip = excerpt::encode(&samples, 2, rate_hz, budget).ok();
        Ok(clip.map(|clip| (start as f32 / rate_hz as f32, clip)))
    }
}
