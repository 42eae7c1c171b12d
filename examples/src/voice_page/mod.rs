//! One recorded voice as measured, with the settings proposed for it: as a page to read in a terminal ([`page`]), as data
//! ([`data`]) and as a drawing against published speech ([`drawing`]).

pub mod data;
pub mod drawing;
pub mod page;
mod words;

use crate::audio_file::AudioFile;
use crate::error::{JobError, Trouble};
use crate::interview::{Progress, advance};
use std::path::Path;
use voicechain_core::SampleRate;
use voicechain_core::voice::{Context, Profile, ProfileMeter, Proposal, propose};

/// A measured voice.
#[derive(Clone, Debug)]
pub struct VoicePage {
    /// The recording, as the person gave it.
    pub file: String,
    /// Container, coding and word length in words.
    pub kind: String,
    /// What the voice is for.
    pub context: Context,
    /// What was measured.
    pub profile: Profile,
    /// What is proposed.
    pub proposal: Proposal,
    /// What the file itself warns of.
    pub file_warnings: Vec<String>,
}

impl VoicePage {
    /// Measures a recording at its own rate, from start to end, in memory that does not grow with its length.
    ///
    /// What is no voice is no error: the profile says so, and the proposal leaves the strip at rest.
    ///
    /// # Errors
    /// A file that cannot be read as sound, or the person's wish to stop.
    pub fn measure(path: &Path, context: Context, progress: &mut dyn Progress) -> Result<Self, JobError> {
        let mut file = AudioFile::open(path)?;
        progress.step("measuring", file.frames());
        let rate = SampleRate::new(f64::from(file.rate_hz())).map_err(|e| {
            JobError::new(Trouble::Rate, e.to_string(), "convert the recording to 8 to 192 kHz").at(path)
        })?;
        let profile = match file.channels() {
            1 => hear::<1>(&mut file, rate, progress)?,
            _ => hear::<2>(&mut file, rate, progress)?,
        };
        Ok(Self {
            file: path.display().to_string(),
            kind: file.kind().to_owned(),
            context,
            proposal: propose(&profile, context),
            profile,
            file_warnings: file.warnings().iter().map(ToString::to_string).collect(),
        })
    }
}

fn hear<const C: usize>(
    file: &mut AudioFile,
    rate: SampleRate,
    progress: &mut dyn Progress,
) -> Result<Profile, JobError> {
    let mut meter = Box::new(ProfileMeter::<C>::new(rate));
    let mut chunk = Vec::new();
    while file.read(&mut chunk)? > 0 {
        let (frames, _) = chunk.as_chunks::<C>();
        meter.push(frames);
        advance(progress, file.position())?;
    }
    Ok(meter.profile())
}
