//! Sources of the voices: recordings with unique names, or the demo.

use super::job::{Job, Recording};
use super::names::{safe_name, unique_name};
use crate::audio_file::AudioFile;
use crate::demo_voices;
use crate::error::{JobError, JobErrorKind};
use crate::report::data::{Demo, Fault};
use crate::wav_file::check_size;
use std::path::PathBuf;

/// Source of one voice.
pub(super) enum Source {
    /// A recording.
    File(PathBuf),
    /// Synthesised samples, mono.
    Synthetic { rate_hz: u32, samples: Vec<f32> },
}

/// Source with the file-safe name of its voice.
pub(super) type NamedSource = (String, Source);

/// The recordings with file-safe, unique names, or the demo with its faults.
///
/// # Errors
/// A recording cannot be read, is given twice, or is too long for the delivery.
pub(super) fn sources(job: &Job) -> Result<(Vec<NamedSource>, Option<Demo>), JobError> {
    if job.recordings.is_empty() {
        let voices = demo_voices::interview();
        let faults = voices
            .iter()
            .flat_map(|v| {
                v.faults
                    .iter()
                    .map(|f| Fault { voice: v.name.to_string(), description: f.to_string().replace(" -", " −") })
            })
            .collect();
        let scenario = "An invented interview: a host asks, a lighthouse keeper's apprentice answers. Both voices are \
                        synthetic, with deliberate faults."
            .to_string();
        let sources = voices
            .into_iter()
            .map(|v| (v.name.to_string(), Source::Synthetic { rate_hz: v.rate_hz, samples: v.recording }))
            .collect();
        return Ok((sources, Some(Demo { scenario, faults })));
    }
    let mut opened: Vec<(same_file::Handle, &Recording)> = Vec::new();
    let mut names = Vec::new();
    let mut sources = Vec::new();
    for recording in &job.recordings {
        // Unreadable recordings are detected before the work starts.
        let audio = AudioFile::open(&recording.path)?;
        if let Some(frames) = audio.frames() {
            let frames = (frames as f64 * f64::from(job.delivery.rate_hz) / f64::from(audio.rate_hz())) as u64;
            check_size(frames, 2, job.delivery.format).map_err(|e| e.at(job.out.join("mix.wav")))?;
        }
        // Compares file handles, so that links and indirect paths count as the same file.
        let real = same_file::Handle::from_path(&recording.path).map_err(|e| JobError::opening(&recording.path, &e))?;
        if let Some((_, other)) = opened.iter().find(|(file, _)| *file == real) {
            return Err(JobError::new(
                JobErrorKind::Usage,
                format!("the same file is given twice (for {} and {})", other.name, recording.name),
                "name a separate recording for each voice",
            )
            .at(&recording.path));
        }
        opened.push((real, recording));
        let name = unique_name(safe_name(&recording.name), &names);
        names.push(name.clone());
        sources.push((name, Source::File(recording.path.clone())));
    }
    Ok((sources, None))
}
