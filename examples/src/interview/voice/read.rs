//! First pass: reads a recording, converts it to the delivery rate and measures it.

use super::Voice;
use crate::audio_file::{AudioFile, Warning};
use crate::error::{JobError, JobErrorKind};
use crate::interview::assigned_settings::AssignedSettings;
use crate::interview::job::Job;
use crate::interview::levels::measure;
use crate::interview::sources::Source;
use crate::progress::{Progress, advance};
use crate::report::VoiceSeries;
use crate::report::data::{GainReductions, Levels};
use crate::resample::Resampler;
use crate::voice_page::RecordingMeter;
use crate::wav_file::Spool;
use std::path::{Path, PathBuf};
use voicechain_core::measure::Profile;
use voicechain_core::{SampleRate, StripSettings};

/// Result of reading a source.
struct MeasuredRecording {
    /// Name in the report.
    file: String,
    rate_hz: u32,
    channels: usize,
    /// Samples at the delivery rate.
    spool: Spool,
    profile: Profile,
    file_warnings: Vec<Warning>,
    warnings: Vec<String>,
}

impl Voice {
    /// Reads a source, converts it to the delivery rate and measures it.
    ///
    /// # Errors
    /// The source cannot be read, or the recording is silent.
    pub(in crate::interview) fn read(
        name: String,
        source: Source,
        job: &Job,
        folder: &Path,
        progress: &mut dyn Progress,
    ) -> Result<Self, JobError> {
        let rate_hz = job.delivery.rate_hz;
        let rate = SampleRate::new(f64::from(rate_hz))
            .map_err(|e| JobError::new(JobErrorKind::Rate, e.to_string(), "use 44100 or 48000 Hz"))?;
        let (place, read) = match source {
            Source::Synthetic { rate_hz: from, samples } => {
                progress.step(&format!("reading {name}"), Some(samples.len() as u64));
                (PathBuf::from(&name), read_synthetic(from, &samples, rate_hz, folder, progress)?)
            }
            Source::File(path) => {
                let read = read_recording(&name, &path, rate_hz, folder, progress)?;
                (path, read)
            }
        };
        let mut recorded = read.spool.into_reader()?;
        let input =
            if read.channels == 1 { measure::<1>(&mut recorded, rate)? } else { measure::<2>(&mut recorded, rate)? };
        if input.integrated_lufs.is_none() {
            let error = JobError::new(
                JobErrorKind::NoSound,
                "the recording is silent (nothing above -70 LUFS)",
                "check that this is the right file and that its channel was recorded",
            );
            return Err(error.at(place));
        }
        Ok(Self {
            name,
            file: read.file,
            settings: StripSettings::default(),
            profile: read.profile,
            file_warnings: read.file_warnings,
            chosen: AssignedSettings::default(),
            rate,
            source_rate_hz: read.rate_hz,
            recorded,
            processed: None,
            input,
            processed_levels: Levels::default(),
            balance_db: 0.0,
            ledger: None,
            reductions: GainReductions::default(),
            hum: None,
            warnings: read.warnings,
            drawn: VoiceSeries::default(),
        })
    }
}

/// Reads synthesised samples.
fn read_synthetic(
    from_hz: u32,
    samples: &[f32],
    rate_hz: u32,
    folder: &Path,
    progress: &mut dyn Progress,
) -> Result<MeasuredRecording, JobError> {
    let mut resampler = Resampler::new(from_hz, rate_hz, 1)?;
    let mut spool = Spool::create(folder, 1)?;
    let mut out = Vec::new();
    let mut meter = RecordingMeter::new(from_hz, 1)?;
    meter.push(samples);
    resampler.push(samples, &mut out);
    resampler.finish(&mut out);
    spool.write(&out)?;
    advance(progress, samples.len() as u64)?;
    Ok(MeasuredRecording {
        file: "synthesised for the demo".into(),
        rate_hz: from_hz,
        channels: 1,
        spool,
        profile: meter.profile(),
        file_warnings: Vec::new(),
        warnings: Vec::new(),
    })
}

/// Reads a recording chunk by chunk; non-finite samples become zero.
fn read_recording(
    name: &str,
    path: &Path,
    rate_hz: u32,
    folder: &Path,
    progress: &mut dyn Progress,
) -> Result<MeasuredRecording, JobError> {
    let mut audio = AudioFile::open(path)?;
    progress.step(&format!("reading {name}"), audio.frames());
    let channels = audio.channels();
    let mut resampler = Resampler::new(audio.rate_hz(), rate_hz, channels)?;
    let mut spool = Spool::create(folder, channels)?;
    let mut meter = RecordingMeter::new(audio.rate_hz(), channels).map_err(|e| e.at(path))?;
    let (mut chunk, mut out) = (Vec::new(), Vec::new());
    let mut non_finite = 0;
    while audio.read(&mut chunk)? > 0 {
        for sample in &mut chunk {
            if !sample.is_finite() {
                *sample = 0.0;
                non_finite += 1;
            }
        }
        meter.push(&chunk);
        out.clear();
        resampler.push(&chunk, &mut out);
        spool.write(&out)?;
        advance(progress, audio.position())?;
    }
    out.clear();
    resampler.finish(&mut out);
    spool.write(&out)?;
    let file_warnings = audio.warnings();
    let mut warnings: Vec<String> = file_warnings.iter().map(ToString::to_string).collect();
    if non_finite > 0 {
        warnings.push(format!("{non_finite} samples are not finite and were replaced by silence"));
    }
    Ok(MeasuredRecording {
        file: file_name(path),
        rate_hz: audio.rate_hz(),
        channels,
        spool,
        profile: meter.profile(),
        file_warnings,
        warnings,
    })
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}
