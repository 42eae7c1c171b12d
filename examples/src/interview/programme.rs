//! Programme mix: all voices balanced, summed, brought to the target loudness and limited.

use super::gain_search::{Attempt, Bound, Goal, LEAST_YIELD, MAX_MEDIAN_DB, MAX_P95_DB, Outcome, search};
use super::job::Job;
use super::levels::{levels, measure, measure_file, reduction};
use super::voice::Voice;
use crate::delivery::{DeliverySpec, LOUDNESS_RANGE_LUFS};
use crate::error::{JobError, JobErrorKind};
use crate::progress::{Progress, advance};
use crate::report::data::{Compliance, Levels, Mix, Shortfall, ShortfallCause, Target};
use crate::report::excerpt::{self, Clip, ClipBudget};
use crate::report::text::number;
use crate::report::{LoudnessWindow, MixSeries};
use crate::series::{BoundedSeries, Decimation};
use crate::wav_file::{PendingFile, Quantiser, Spool, SpoolReader, WavFile, WavFormat};
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
/// Absolute gate of ITU-R BS.1770, LUFS.
const ABSOLUTE_GATE_LUFS: f64 = -70.0;
/// Gain reduction of the programme limiter, 95th percentile, that causes a hint, dB. Common practice, no source.
const NOTICEABLE_REDUCTION_DB: f64 = 3.0;
/// Difference between the measured and the calculated file at which the disk is at fault, LU and dB.
const READ_BACK_TOLERANCE_DB: f64 = 0.01;
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
    pub(super) file: PendingFile,
}

/// Measurements of one run.
struct Measured {
    levels: Levels,
    reduction: GainReductionMeter,
}

impl Measured {
    fn outcome(&self) -> Outcome {
        Outcome {
            integrated_lufs: self.levels.integrated_lufs.unwrap_or(ABSOLUTE_GATE_LUFS),
            true_peak_dbtp: self.levels.true_peak_dbtp.unwrap_or(f64::NEG_INFINITY),
            median_db: self.reduction.percentile_db(50.0).unwrap_or(0.0),
            p95_db: self.reduction.percentile_db(95.0).unwrap_or(0.0),
        }
    }
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

    /// Finds the gain and ceiling that together meet the target, writes the mix and measures the written file.
    pub(super) fn deliver(
        &mut self,
        job: &Job,
        folder: &Path,
        warnings: &mut Vec<String>,
        progress: &mut dyn Progress,
    ) -> Result<Delivered, JobError> {
        let spec = &job.delivery;
        let sum = measure::<2>(&mut self.sum, self.rate)?;
        let (Some(programme_lufs), Some(programme_peak_dbtp)) = (sum.integrated_lufs, sum.true_peak_dbtp) else {
            return Err(JobError::new(
                JobErrorKind::NoSound,
                "the mix is silent (nothing above -70 LUFS)",
                "check the recordings and their settings",
            ));
        };
        let goal = Goal {
            programme_lufs,
            programme_peak_dbtp,
            integrated_lufs: spec.integrated_lufs,
            ceiling_dbtp: spec.ceiling_dbtp,
        };
        let found = search(&goal, |attempt| {
            progress.step("finding the programme gain", Some(self.sum.frames()));
            Ok(self.run(attempt, spec.format, None, progress)?.outcome())
        })?;
        progress.step("writing the mix", Some(self.sum.frames()));
        let mut file = WavFile::create(folder.join("mix.wav"), spec.rate_hz, 2, spec.format)?;
        let spool = Spool::create(folder, 2)?;
        let run = self.run(found.attempt, spec.format, Some((&mut file, spool)), progress)?;
        let file = file.complete()?;
        progress.step("checking the written mix", Some(self.sum.frames()));
        let levels = measure_file(&file, self.rate, progress)?;
        check_read_back(&levels, &run.levels).map_err(|e| e.at(file.path()))?;

        let mut data = Mix {
            integrated_lufs: levels.integrated_lufs,
            loudness_range_lu: levels.loudness_range_lu,
            true_peak_dbtp: levels.true_peak_dbtp,
            sample_peak_dbfs: levels.sample_peak_dbfs,
            sample_rate_hz: spec.rate_hz,
            bits: spec.format.bits(),
            channels: 2,
            duration_s: self.sum.frames() as f64 / self.rate.hz(),
            programme_gain_db: found.attempt.gain_db,
            limiter: reduction(Some(&run.reduction)),
            shortfall: None,
        };
        let compliance = Compliance::of(&data, &Target::of(spec));
        if !compliance.loudness_compliant {
            let shortfall = shortfall(spec, &levels, found.bound);
            warnings.push(format!("{} {}", shortfall.explanation, shortfall.advice));
            data.shortfall = Some(shortfall);
        } else if data.limiter.p95_db > NOTICEABLE_REDUCTION_DB {
            warnings.push(format!(
                "the gain reduction of the programme limiter exceeds {NOTICEABLE_REDUCTION_DB} dB for 5 % of the time: a \
                 lower target loudness would sound cleaner"
            ));
        }
        if !compliance.true_peak_compliant {
            warnings.push(format!(
                "The true peak of the mix, {} dBTP, exceeds the ceiling of {} dBTP. Use a lower ceiling.",
                number(levels.true_peak_dbtp, 2),
                number(spec.ceiling_dbtp, 1)
            ));
        }
        Ok(Delivered { data, file })
    }

    /// Runs gain and limiter over the sum and measures the result as the file stores it. With `write` it also writes
    /// the mix and records the plotted series.
    fn run(
        &mut self,
        attempt: Attempt,
        format: WavFormat,
        mut write: Option<(&mut WavFile, Spool)>,
        progress: &mut dyn Progress,
    ) -> Result<Measured, JobError> {
        let settings = LimiterSettings { ceiling_dbtp: attempt.ceiling_dbtp, ..LimiterSettings::default() };
        let design = |e: voicechain_core::SettingError| {
            JobError::new(JobErrorKind::Usage, e.to_string(), "correct this setting")
        };
        let mut limiter = Box::new(Processor::<Limiter, 2>::design(&settings, self.rate).map_err(design)?);
        let latency = u64::from(limiter.latency());
        let mut quantiser = Quantiser::new(format);
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
            let out = &mut chunk[2 * drop as usize..2 * (drop + take) as usize];
            if let Some((file, _)) = &mut write {
                file.write(out)?;
            }
            quantiser.quantise(out);
            let (frames, _) = out.as_chunks::<2>();
            loudness.push(frames);
            peak.push(frames);
            let loud = loudness.momentary().is_some_and(|lufs| lufs > -50.0);
            meter.push(reduction_db, loud);
            max_reduction_db = max_reduction_db.max(reduction_db);
            written += take;
            steps += 1;
            if let Some((_, spool)) = &mut write {
                spool.write(out)?;
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
        Ok(Measured { levels: levels(&loudness, &peak), reduction: meter })
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

/// Compares the file on the disk with the samples that were sent to it.
fn check_read_back(file: &Levels, sent: &Levels) -> Result<(), JobError> {
    let pairs = [
        (file.integrated_lufs, sent.integrated_lufs),
        (file.true_peak_dbtp, sent.true_peak_dbtp),
        (file.sample_peak_dbfs, sent.sample_peak_dbfs),
    ];
    let equal = |(file, sent): (Option<f64>, Option<f64>)| match (file, sent) {
        (Some(file), Some(sent)) => (file - sent).abs() <= READ_BACK_TOLERANCE_DB,
        (file, sent) => file == sent,
    };
    if pairs.into_iter().all(equal) {
        return Ok(());
    }
    Err(JobError::new(
        JobErrorKind::Read,
        "the written file does not contain the samples that were written",
        "check the disk, or choose another folder",
    ))
}

/// Describes by how much and why the target loudness was missed, and what helps.
fn shortfall(spec: &DeliverySpec, file: &Levels, bound: Option<Bound>) -> Shortfall {
    let lufs = file.integrated_lufs.unwrap_or(ABSOLUTE_GATE_LUFS);
    let missing_lu = spec.integrated_lufs - lufs;
    let (cause, why) = match bound {
        Some(Bound::Peaks) => (
            ShortfallCause::Peaks,
            format!("more gain would make the programme limiter reduce it by over {MAX_P95_DB} dB for 5 % of the time"),
        ),
        Some(Bound::Median) => (
            ShortfallCause::Median,
            format!(
                "more gain would make the programme limiter reduce it by over {MAX_MEDIAN_DB} dB for half of the time, and \
                 raise noise in pauses by as much over the voices"
            ),
        ),
        Some(Bound::Yield) => (
            ShortfallCause::Yield,
            format!(
                "a further dB of gain would bring less than {LEAST_YIELD} LU, because the programme limiter takes the rest, \
                 and would only raise noise and pauses"
            ),
        ),
        None => (ShortfallCause::Unsettled, "the search for the programme gain did not settle".into()),
    };
    let side = if missing_lu > 0.0 { "below" } else { "above" };
    let explanation = format!(
        "The mix has {} LUFS, {} LU {side} its target of {} LUFS: {why}.",
        number(lufs, 1),
        number(missing_lu.abs(), 1),
        number(spec.integrated_lufs, 1)
    );
    // The loudness that was reached, rounded down to what the command line takes.
    let reached = (10.0 * lufs).floor() / 10.0;
    let lower = LOUDNESS_RANGE_LUFS.contains(&reached).then(|| format!("lower the target (--loudness {reached:.1}), "));
    let ceiling = if spec.ceiling_dbtp < 0.0 { "raise the ceiling (--ceiling), " } else { "" };
    let lower = lower.unwrap_or_default();
    let advice = format!("To meet a target, {lower}{ceiling}or reduce the peaks of the voices (compressor, limiter).");
    Shortfall { missing_lu, cause, explanation, advice }
}
