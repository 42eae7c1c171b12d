//! One recorded voice as measured, with the settings proposed for it: as a page to read in a terminal ([`page`]), as data
//! ([`data`]) and as a drawing against published speech ([`drawing`]).

pub mod audition;
pub mod data;
pub mod drawing;
pub mod page;
pub(crate) mod words;

use crate::audio_file::{AudioFile, Warning};
use crate::error::{JobError, JobErrorKind};
use crate::progress::{Progress, advance};
use std::path::Path;
use voicechain_core::SampleRate;
use voicechain_core::measure::{Profile, ProfileMeter};
use voicechain_core::propose::{Context, Proposal, propose};

/// A measured voice.
#[derive(Clone, Debug)]
pub struct MeasuredVoice {
    /// The recording, as the person gave it.
    pub file: String,
    /// Container, coding and word length in words.
    pub file_format: String,
    /// What the voice is for.
    pub context: Context,
    /// What was measured.
    pub profile: Profile,
    /// What is proposed.
    pub proposal: Proposal,
    /// What the file itself warns of.
    pub file_warnings: Vec<Warning>,
}

impl MeasuredVoice {
    /// Measures a recording at its own rate, from start to end, in memory that does not grow with its length.
    ///
    /// What is no voice is no error: the profile says so, and the proposal leaves the strip bypassed.
    ///
    /// # Errors
    /// A file that cannot be read as sound, or the person's wish to stop.
    pub fn measure(path: &Path, context: Context, progress: &mut dyn Progress) -> Result<Self, JobError> {
        let mut file = AudioFile::open(path)?;
        progress.step("measuring", file.frames());
        let mut meter = RecordingMeter::new(file.rate_hz(), file.channels()).map_err(|e| e.at(path))?;
        let mut chunk = Vec::new();
        while file.read(&mut chunk)? > 0 {
            meter.push(&chunk);
            advance(progress, file.position())?;
        }
        let profile = meter.profile();
        Ok(Self {
            file: path.display().to_string(),
            file_format: file.file_format().to_owned(),
            context,
            proposal: propose(&profile, context),
            profile,
            file_warnings: file.warnings(),
        })
    }
}

/// Measures a recording of one or two channels at its own rate.
pub(crate) enum RecordingMeter {
    Mono(Box<ProfileMeter<1>>),
    Stereo(Box<ProfileMeter<2>>),
}

impl RecordingMeter {
    pub(crate) fn new(rate_hz: u32, channels: usize) -> Result<Self, JobError> {
        let rate = SampleRate::new(f64::from(rate_hz))
            .map_err(|e| JobError::new(JobErrorKind::Rate, e.to_string(), "convert the recording to 8 to 192 kHz"))?;
        Ok(match channels {
            1 => Self::Mono(Box::new(ProfileMeter::new(rate))),
            _ => Self::Stereo(Box::new(ProfileMeter::new(rate))),
        })
    }

    /// Hears interleaved samples.
    pub(crate) fn push(&mut self, samples: &[f32]) {
        match self {
            Self::Mono(meter) => meter.push(samples.as_chunks().0),
            Self::Stereo(meter) => meter.push(samples.as_chunks().0),
        }
    }

    pub(crate) fn profile(&self) -> Profile {
        match self {
            Self::Mono(meter) => meter.profile(),
            Self::Stereo(meter) => meter.profile(),
        }
    }
}
