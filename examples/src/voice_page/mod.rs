//! Measurement of one recorded voice with its proposed settings, as a terminal page ([`page`]), as JSON ([`data`]) and
//! as a drawing against published speech ([`drawing`]).

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

/// Measured voice with its proposal.
#[derive(Clone, Debug)]
pub struct MeasuredVoice {
    /// Path of the recording, as given.
    pub file: String,
    /// Container, codec and word length.
    pub file_format: String,
    /// Role and vocal style.
    pub context: Context,
    /// Measured profile.
    pub profile: Profile,
    /// Proposed settings with their evidence.
    pub proposal: Proposal,
    /// Warnings about the file.
    pub file_warnings: Vec<Warning>,
}

impl MeasuredVoice {
    /// Measures a whole recording at its own sample rate, in memory that does not grow with its length.
    ///
    /// A signal that is not a voice is not an error: the profile says so, and in the proposal only the limiter is on.
    ///
    /// # Errors
    /// The file cannot be read, or the user stopped the job.
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

/// A meter on the heap, written in place.
fn meter<const C: usize>(rate: SampleRate) -> Box<ProfileMeter<C>> {
    let mut meter = Box::new(ProfileMeter::NEW);
    meter.restart(rate);
    meter
}

/// Profile meter for a recording of one or two channels at its own sample rate.
pub(crate) enum RecordingMeter {
    Mono(Box<ProfileMeter<1>>),
    Stereo(Box<ProfileMeter<2>>),
}

impl RecordingMeter {
    pub(crate) fn new(rate_hz: u32, channels: usize) -> Result<Self, JobError> {
        let rate = SampleRate::new(f64::from(rate_hz))
            .map_err(|e| JobError::new(JobErrorKind::Rate, e.to_string(), "use a rate from 8000 to 192000 Hz"))?;
        Ok(match channels {
            1 => Self::Mono(meter(rate)),
            _ => Self::Stereo(meter(rate)),
        })
    }

    /// Measures interleaved samples.
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
