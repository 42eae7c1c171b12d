//! One voice: read, measured, brought to level, run through the strip.

use super::choice::Chosen;
use super::{Job, Progress, advance, words};
use crate::audio_file::{AudioFile, Warning};
use crate::error::{JobError, Trouble};
use crate::report::data::{self, GainReduction, GainReductions, Levels};
use crate::report::{LoudnessWindow, VoiceSeries};
use crate::resample::Resampler;
use crate::series::{Merge, Series};
use crate::spectrum::LongTermSpectrum;
use crate::voice_page::Ear;
use crate::wav_file::{Spool, SpoolReader};
use std::path::{Path, PathBuf};
use voicechain_core::frame::Frame;
use voicechain_core::levels::WORKING_LEVEL_LUFS;
use voicechain_core::math::to_db;
use voicechain_core::measure::Profile;
use voicechain_core::meters::{ChannelWeights, LoudnessMeter, ReductionMeter, TruePeakMeter};
use voicechain_core::settings::StageId;
use voicechain_core::stages::leveller::ahead::{self, LevelEar};
use voicechain_core::strip::{LEARNT_S, Ledger, Strip, StripCoefs};
use voicechain_core::{SampleRate, StripSettings};

/// Where a voice comes from.
pub(super) enum Source {
    /// A recording.
    File(PathBuf),
    /// Samples that the program made, mono.
    Made { rate_hz: u32, samples: Vec<f32> },
}

/// Ten values of a series per second.
const SERIES_STEP_S: f64 = 0.1;
/// A frame of the spectrum counts when it is at most so far under the voice's loudness, dB.
const SPECTRUM_RANGE_DB: f64 = 20.0;
/// Two channels carry twice the power of one, dB.
pub(super) const TWO_CHANNELS_DB: f64 = 3.010_299_956_639_812;

/// A voice on its way.
pub(super) struct Voice {
    pub(super) name: String,
    /// What the report calls the recording.
    file: String,
    pub(super) settings: StripSettings,
    /// Measured on the recording at its own rate.
    pub(super) profile: Profile,
    pub(super) file_warnings: Vec<Warning>,
    chosen: Chosen,
    rate: SampleRate,
    source_rate_hz: u32,
    recorded: SpoolReader,
    processed: Option<SpoolReader>,
    pub(super) input: Levels,
    /// Of the processed voice, as in the stereo mix, before the balance.
    processed_levels: Levels,
    pub(super) balance_db: f64,
    ledger: Option<Ledger>,
    reductions: GainReductions,
    /// Frequency and level of the hum that was last taken out, Hz, dBFS.
    hum: Option<(f64, f64)>,
    warnings: Vec<String>,
    drawn: VoiceSeries,
}

impl Voice {
    /// First pass: reads the recording at the delivery's rate, and measures it.
    pub(super) fn read(
        name: String,
        source: Source,
        job: &Job,
        folder: &Path,
        progress: &mut dyn Progress,
    ) -> Result<Self, JobError> {
        let rate_hz = job.delivery.rate_hz;
        let rate = SampleRate::new(f64::from(rate_hz))
            .map_err(|e| JobError::new(Trouble::Rate, e.to_string(), "use 44100 or 48000"))?;
        let (mut warnings, mut file_warnings) = (Vec::new(), Vec::new());
        let place = match &source {
            Source::File(path) => path.clone(),
            Source::Made { .. } => PathBuf::from(&name),
        };
        let (file, channels, source_rate_hz, recorded, profile) = match source {
            Source::Made { rate_hz: from, samples } => {
                progress.step(&format!("reading {name}"), Some(samples.len() as u64));
                let mut resampler = Resampler::new(from, rate_hz, 1)?;
                let mut spool = Spool::create(folder, 1)?;
                let mut out = Vec::new();
                let mut ear = Ear::new(from, 1)?;
                ear.hear(&samples);
                resampler.push(&samples, &mut out);
                resampler.finish(&mut out);
                spool.write(&out)?;
                advance(progress, samples.len() as u64)?;
                ("made for the demo".to_string(), 1, from, spool, ear.profile())
            }
            Source::File(path) => {
                let mut audio = AudioFile::open(&path)?;
                progress.step(&format!("reading {name}"), audio.frames());
                let channels = audio.channels();
                let mut resampler = Resampler::new(audio.rate_hz(), rate_hz, channels)?;
                let mut spool = Spool::create(folder, channels)?;
                let mut ear = Ear::new(audio.rate_hz(), channels).map_err(|e| e.at(&path))?;
                let (mut chunk, mut out) = (Vec::new(), Vec::new());
                let mut not_numbers = 0;
                while audio.read(&mut chunk)? > 0 {
                    for sample in &mut chunk {
                        if !sample.is_finite() {
                            *sample = 0.0;
                            not_numbers += 1;
                        }
                    }
                    ear.hear(&chunk);
                    out.clear();
                    resampler.push(&chunk, &mut out);
                    spool.write(&out)?;
                    advance(progress, audio.position())?;
                }
                out.clear();
                resampler.finish(&mut out);
                spool.write(&out)?;
                file_warnings = audio.warnings();
                warnings.extend(file_warnings.iter().map(ToString::to_string));
                if not_numbers > 0 {
                    warnings.push(format!("{not_numbers} samples are no numbers and were made silent"));
                }
                (file_name(&path), channels, audio.rate_hz(), spool, ear.profile())
            }
        };
        let mut recorded = recorded.into_reader()?;
        let input = if channels == 1 { measure::<1>(&mut recorded, rate)? } else { measure::<2>(&mut recorded, rate)? };
        if input.integrated_lufs.is_none() {
            let error = JobError::new(
                Trouble::NoSound,
                "the recording is silent (nothing above -70 LUFS)",
                "check that it is the right file and that its channel was recorded",
            );
            return Err(error.at(place));
        }
        Ok(Self {
            name,
            file,
            settings: StripSettings::default(),
            profile,
            file_warnings,
            chosen: Chosen::default(),
            rate,
            source_rate_hz,
            recorded,
            processed: None,
            input,
            processed_levels: Levels::default(),
            balance_db: 0.0,
            ledger: None,
            reductions: GainReductions::default(),
            hum: None,
            warnings,
            drawn: VoiceSeries::default(),
        })
    }

    /// Takes the settings that were chosen for it.
    pub(super) fn choose(&mut self, chosen: Chosen) {
        self.settings = chosen.settings;
        self.warnings.extend(chosen.warnings.iter().cloned());
        self.chosen = chosen;
    }

    /// Second pass: the strip.
    pub(super) fn process(&mut self, job: &Job, folder: &Path, progress: &mut dyn Progress) -> Result<(), JobError> {
        progress.step(&format!("processing {}", self.name), Some(self.frames()));
        let spool = Spool::create(folder, self.channels())?;
        if self.channels() == 1 {
            self.run_strip::<1>(job, spool, progress)
        } else {
            self.run_strip::<2>(job, spool, progress)
        }
    }

    fn run_strip<const C: usize>(
        &mut self,
        job: &Job,
        mut spool: Spool,
        progress: &mut dyn Progress,
    ) -> Result<(), JobError>
    where
        [f32; C]: Frame,
    {
        let design = |e: voicechain_core::SettingError| JobError::new(Trouble::Usage, e.to_string(), "correct it");
        let coefs = StripCoefs::<C>::design(&self.settings, self.rate).map_err(design)?;
        let mut strip = Box::new(Strip::fresh(&coefs));
        let latency = coefs.latency() as u64;
        let total = self.recorded.frames();
        let loudness = self.input.integrated_lufs.unwrap_or(WORKING_LEVEL_LUFS);
        let mut before = LongTermSpectrum::new(job.delivery.rate_hz, loudness - SPECTRUM_RANGE_DB);
        let after_least = loudness + self.settings.trim.gain_db - SPECTRUM_RANGE_DB;
        let mut after = LongTermSpectrum::new(job.delivery.rate_hz, after_least);
        let mut loudness_before = Series::new(SERIES_STEP_S, Merge::Mean);
        let mut loudness_after = Series::new(SERIES_STEP_S, Merge::Mean);
        let mut gains: Vec<_> = words::reducing(&self.settings)
            .map(|stage| (stage, Series::new(SERIES_STEP_S, Merge::Least), 0.0f64))
            .collect();

        let levelled = if self.settings.leveller.on { self.leveller_gains::<C>()? } else { Vec::new() };

        if self.settings.hum.on || self.settings.de_reverb.on {
            let mut beginning = Vec::new();
            self.recorded.rewind()?;
            self.recorded.read(&mut beginning, (LEARNT_S * self.rate.hz()) as usize)?;
            strip.learn(beginning.as_chunks::<C>().0);
        }

        // Ten milliseconds at a time, so that every gain reduction is read.
        let step = (job.delivery.rate_hz / 100) as usize;
        self.recorded.rewind()?;
        let (mut chunk, mut fed, mut given, mut steps) = (Vec::new(), 0u64, 0u64, 0u64);
        while given < total {
            let read = self.recorded.read(&mut chunk, step)?;
            before.push(&chunk, C);
            // Behind the end, silence pushes out what the strip still delays.
            chunk.resize(step * C, 0.0);
            let (frames, _) = chunk.as_chunks_mut::<C>();
            let at = ahead::gain_for(fed, strip.leveller_delay(), self.rate);
            strip.guide_leveller(levelled.get(at).or(levelled.last()).map(|&db| f64::from(db)));
            strip.run(frames);
            fed += step as u64;
            let drop = latency.saturating_sub(fed - step as u64).min(step as u64);
            let take = (step as u64 - drop).min(total - given);
            let out = &chunk[drop as usize * C..(drop + take) as usize * C];
            after.push(out, C);
            spool.write(out)?;
            given += take;
            for (stage, _, deepest) in &mut gains {
                let now = strip.reduction(*stage).map_or(0.0, ReductionMeter::now_db);
                *deepest = deepest.max(now);
            }
            steps += 1;
            if steps % 10 == 0 {
                let lufs = |meter: &LoudnessMeter<C>| meter.momentary().unwrap_or(f64::NEG_INFINITY) as f32;
                loudness_before.push(lufs(strip.input_loudness()));
                loudness_after.push(lufs(strip.output_loudness()));
                self.hum = strip.mains_hz().zip(strip.hum_taken_dbfs()).or(self.hum);
                for (_, series, deepest) in &mut gains {
                    series.push(-*deepest as f32);
                    *deepest = 0.0;
                }
            }
            advance(progress, fed.min(total))?;
            debug_assert!(read > 0 || fed <= total + latency + step as u64);
        }

        let mut processed = spool.into_reader()?;
        self.processed_levels = measure::<C>(&mut processed, self.rate)?;
        if C == 1 {
            self.processed_levels.integrated_lufs =
                self.processed_levels.integrated_lufs.map(|lufs| lufs + TWO_CHANNELS_DB);
        }
        self.processed = Some(processed);
        self.ledger = strip.ledger();
        self.reductions = GainReductions {
            de_reverb: reduction(strip.reduction(StageId::DeReverb)),
            expander: reduction(strip.reduction(StageId::Expander)),
            leveller: reduction(strip.reduction(StageId::Leveller)),
            de_esser: reduction(strip.reduction(StageId::DeEsser)),
            compressor: reduction(strip.reduction(StageId::Compressor)),
            limiter: reduction(strip.reduction(StageId::Limiter)),
        };
        if strip.rejected_samples() > 0 {
            self.warnings.push(format!("{} samples beyond +36 dB of full scale were held", strip.rejected_samples()));
        }
        self.drawn = VoiceSeries {
            spectrum_before: within(before.bands(), self.source_rate_hz),
            spectrum_after: within(after.bands(), self.source_rate_hz),
            response: response(&coefs),
            bands: bands(&self.settings, &coefs),
            pitch_hz: self.profile.pitch.ok().map(|pitch| pitch.median_hz),
            window: LoudnessWindow::Momentary,
            loudness_before: loudness_before.to_series(),
            loudness_after: loudness_after.to_series(),
            gain: gains.iter().map(|(stage, series, _)| (stage.id().to_string(), series.to_series())).collect(),
            excerpt: None,
        };
        Ok(())
    }

    /// The leveller's gains for every 10 ms of the recording, found with all of it known.
    fn leveller_gains<const C: usize>(&mut self) -> Result<Vec<f32>, JobError>
    where
        [f32; C]: Frame,
    {
        let (mut ear, mut powers, mut chunk) = (LevelEar::<C>::new(self.rate), Vec::new(), Vec::new());
        self.recorded.rewind()?;
        while self.recorded.read(&mut chunk, 4_096)? > 0 {
            ear.push(chunk.as_chunks::<C>().0, |power| powers.push(power));
        }
        let mut gains = vec![0.0; powers.len()];
        ahead::plan(&powers, self.settings.trim.gain_db, &self.settings.leveller, &mut gains);
        Ok(gains)
    }

    pub(super) fn frames(&self) -> u64 {
        self.recorded.frames()
    }

    pub(super) fn seconds(&self) -> f64 {
        self.frames() as f64 / self.rate.hz()
    }

    pub(super) fn channels(&self) -> usize {
        self.recorded.channels()
    }

    pub(super) fn warn(&mut self, words: String) {
        self.warnings.push(words);
    }

    /// The recording at the delivery's rate.
    pub(super) fn recorded(&mut self) -> &mut SpoolReader {
        &mut self.recorded
    }

    /// The processed voice; the recording before it was processed.
    pub(super) fn processed(&mut self) -> &mut SpoolReader {
        self.processed.as_mut().unwrap_or(&mut self.recorded)
    }

    /// Loudness and peaks of the processed voice as in the stereo mix, balanced.
    pub(super) fn output(&self) -> Levels {
        let shifted = |level: Option<f64>| level.map(|level| level + self.balance_db);
        Levels {
            integrated_lufs: shifted(self.processed_levels.integrated_lufs),
            loudness_range_lu: self.processed_levels.loudness_range_lu,
            true_peak_dbtp: shifted(self.processed_levels.true_peak_dbtp),
            sample_peak_dbfs: shifted(self.processed_levels.sample_peak_dbfs),
        }
    }

    /// What the page draws.
    pub(super) fn series(&self) -> VoiceSeries {
        let mut drawn = self.drawn.clone();
        // The drawing shows the voice as in the stereo mix, balanced.
        let two = if self.channels() == 1 { TWO_CHANNELS_DB } else { 0.0 };
        for value in &mut drawn.loudness_after.values {
            *value += (self.balance_db + two) as f32;
        }
        drawn
    }

    /// What the report says.
    pub(super) fn report(&self) -> Result<data::Voice, JobError> {
        let design = |e: voicechain_core::SettingError| JobError::new(Trouble::Usage, e.to_string(), "correct it");
        let coefs = StripCoefs::<2>::design(&self.settings, self.rate).map_err(design)?;
        let ledger = StageId::ALL.iter().map(|stage| data::LedgerEntry {
            stage: stage.id().to_string(),
            lu: self.ledger.and_then(|l| l.entries.iter().find(|e| e.stage == *stage).map(|e| e.lu)),
        });
        Ok(data::Voice {
            name: self.name.clone(),
            file: self.file.clone(),
            duration_s: self.seconds(),
            sample_rate_hz: self.source_rate_hz,
            channels: self.channels() as u16,
            input: self.input,
            output: self.output(),
            ledger: ledger.collect(),
            gain_reduction: self.reductions,
            settings_from: self.chosen.from.clone(),
            settings: words::stages(&self.settings, &coefs, |stage| match stage {
                StageId::Hum if self.settings.hum.on => Some(words::hum(self.hum, self.chosen.why(stage))),
                _ => self.chosen.why(stage),
            }),
            evidence: self.chosen.evidence.clone(),
            balance_gain_db: self.balance_db,
            warnings: self.warnings.clone(),
        })
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

/// Loudness and peaks of everything in a spool.
pub(super) fn measure<const C: usize>(spool: &mut SpoolReader, rate: SampleRate) -> Result<Levels, JobError> {
    let mut loudness = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
    let mut peak = TruePeakMeter::<C>::new(rate);
    let mut chunk = Vec::new();
    spool.rewind()?;
    while spool.read(&mut chunk, 4_096)? > 0 {
        let (frames, _) = chunk.as_chunks::<C>();
        loudness.push(frames);
        peak.push(frames);
    }
    peak.finish();
    Ok(levels(&loudness, &peak))
}

/// What the meters show.
pub(super) fn levels<const C: usize>(loudness: &LoudnessMeter<C>, peak: &TruePeakMeter<C>) -> Levels {
    let largest = |values: [f64; C]| Some(to_db(values.into_iter().fold(0.0, f64::max))).filter(|db| db.is_finite());
    Levels {
        integrated_lufs: loudness.integrated(),
        loudness_range_lu: loudness.range(),
        true_peak_dbtp: largest(peak.hold()),
        sample_peak_dbfs: largest(peak.sample_hold()),
    }
}

/// What a meter of gain reduction shows.
pub(super) fn reduction(meter: Option<&ReductionMeter>) -> GainReduction {
    let at = |percent| meter.and_then(|m| m.percentile_db(percent)).unwrap_or(0.0);
    GainReduction { median_db: at(50.0), p95_db: at(95.0), max_db: meter.map_or(0.0, ReductionMeter::largest_db) }
}

/// The bands that a recording of this rate can hold.
fn within(mut bands: Vec<(f32, f32)>, rate_hz: u32) -> Vec<(f32, f32)> {
    bands.retain(|(hz, _)| *hz <= 0.45 * rate_hz as f32);
    bands
}

/// The strip's response from 20 Hz to 20 kHz, without its trims.
fn response<const C: usize>(coefs: &StripCoefs<C>) -> Vec<(f32, f32)>
where
    [f32; C]: Frame,
{
    let top = 20_000.0f64.min(0.45 * coefs.rate().hz());
    let points = 240;
    (0..=points)
        .map(|i| {
            let hz = 20.0 * (top / 20.0).powf(f64::from(i) / f64::from(points));
            (hz as f32, total_db(coefs, hz) as f32)
        })
        .collect()
}

fn total_db<const C: usize>(coefs: &StripCoefs<C>, hz: f64) -> f64
where
    [f32; C]: Frame,
{
    let trims: f64 = [StageId::Trim, StageId::Output].iter().map(|&s| coefs.stage_response(s, hz).db()).sum();
    coefs.response(hz).db() - trims
}

/// Where the bands in use lie on the response.
fn bands<const C: usize>(s: &StripSettings, coefs: &StripCoefs<C>) -> Vec<(f32, f32)>
where
    [f32; C]: Frame,
{
    let (c, t) = (&s.corrective_eq, &s.tone_eq);
    let all = [
        (s.high_pass.on, s.high_pass.frequency_hz),
        (c.on && c.bell_1_gain_db != 0.0, c.bell_1_frequency_hz),
        (c.on && c.bell_2_gain_db != 0.0, c.bell_2_frequency_hz),
        (c.on && c.bell_3_gain_db != 0.0, c.bell_3_frequency_hz),
        (c.on && c.bell_4_gain_db != 0.0, c.bell_4_frequency_hz),
        (t.on && t.low_shelf_gain_db != 0.0, t.low_shelf_frequency_hz),
        (t.on && t.bell_gain_db != 0.0, t.bell_frequency_hz),
        (t.on && t.high_shelf_gain_db != 0.0, t.high_shelf_frequency_hz),
    ];
    all.into_iter().filter(|(used, _)| *used).map(|(_, hz)| (hz as f32, total_db(coefs, hz) as f32)).collect()
}
