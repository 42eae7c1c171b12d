//! The main job: several voices, each through the strip, balanced, summed and delivered.
//!
//! Every voice is read twice and the mix a few times more, always as a stream through a file without a name on the disk
//! of the output folder, so that memory does not grow with the length of the recordings.

mod choice;
pub(crate) mod clips;
mod programme;
mod voice;
mod words;

use crate::audio_file::AudioFile;
use crate::delivery::Delivery;
use crate::demo_voices;
use crate::error::{JobError, Trouble};
use crate::output_folder::OutputFolder;
use crate::report::data::{Demo, Fault, Report, Seconds, Target, WrittenFile};
use crate::report::excerpt::Plan;
use crate::report::{Page, data, render};
use crate::settings_file;
use crate::wav_file::{WavFile, check_size};
use programme::Programme;
use std::path::{Path, PathBuf};
use std::time::Instant;
use voice::{Source, Voice};
use voicechain_core::StripSettings;
use voicechain_core::propose::Context;

/// A voice of the job: a name for its files, and the recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The name, as the person gave it or from the file's name.
    pub name: String,
    /// The file.
    pub path: PathBuf,
}

/// Where the settings of the voices come from.
#[derive(Clone, Debug, PartialEq)]
pub enum Choice {
    /// What is proposed for each voice from what was measured of it.
    Proposed(Context),
    /// The host, the first voice, has these; every other voice has what is proposed for it, moved by what the person
    /// changed on the host's proposal.
    CarriedOver {
        /// What the voices are for.
        context: Context,
        /// The host's settings.
        host: StripSettings,
        /// Where they are from, in words.
        from: String,
    },
    /// The same for every voice, each with a trim of its own.
    Given {
        /// The settings.
        settings: StripSettings,
        /// Where they are from, in words.
        from: String,
    },
}

/// What is to be done.
#[derive(Clone, Debug)]
pub struct Job {
    /// The recordings; none makes the demo.
    pub recordings: Vec<Recording>,
    /// Where to write.
    pub out: PathBuf,
    /// What to deliver.
    pub delivery: Delivery,
    /// Where the settings come from.
    pub choice: Choice,
    /// Overwrite files that are not from an earlier run.
    pub force: bool,
}

impl Job {
    /// A job with proposed settings for spoken voices alone, and the default delivery.
    pub fn new(recordings: Vec<Recording>, out: PathBuf) -> Self {
        Self {
            recordings,
            out,
            delivery: Delivery::default(),
            choice: Choice::Proposed(Context::default()),
            force: false,
        }
    }
}

/// Who wants to know how far the work is.
pub trait Progress {
    /// A new step begins; `total` is its length in frames, where it is known.
    fn step(&mut self, words: &str, total: Option<u64>);
    /// So many frames of the step are done.
    fn done(&mut self, frames: u64);
    /// Whether the job should end here, without a result.
    fn stop(&self) -> bool {
        false
    }
}

/// So many frames are done; an error if the job should end here.
pub(crate) fn advance(progress: &mut dyn Progress, frames: u64) -> Result<(), JobError> {
    progress.done(frames);
    if progress.stop() {
        return Err(JobError::new(Trouble::Stopped, "stopped; nothing was written", ""));
    }
    Ok(())
}

/// Tells nobody.
pub struct Quiet;

impl Progress for Quiet {
    fn step(&mut self, _words: &str, _total: Option<u64>) {}
    fn done(&mut self, _frames: u64) {}
}

/// Does the job and returns the report, which is also in the folder.
///
/// # Errors
/// One line that says what is wrong, where and what to do; nothing half-written is left behind.
pub fn run(job: &Job, progress: &mut dyn Progress) -> Result<Report, JobError> {
    let began = Instant::now();
    job.delivery.check()?;
    if let Choice::CarriedOver { host: settings, .. } | Choice::Given { settings, .. } = &job.choice {
        settings.check().map_err(|e| JobError::new(Trouble::Usage, e.to_string(), "correct that setting"))?;
    }
    let (sources, demo) = sources(job)?;
    let mut folder = OutputFolder::open(&job.out, job.force)?;
    let names: Vec<String> = sources.iter().map(|(name, _)| name.clone()).collect();
    let planned = file_names(&names);
    let inputs: Vec<PathBuf> = job.recordings.iter().map(|recording| recording.path.clone()).collect();
    folder.claim(&planned, &inputs)?;

    let mut warnings = Vec::new();
    let mut voices = Vec::new();
    for (name, source) in sources {
        voices.push(Voice::read(name, source, job, folder.path(), progress)?);
    }
    choice::choose(&mut voices, &job.choice);
    warn_of_lengths(&voices, &mut warnings);
    let longest = voices.iter().map(Voice::frames).max().unwrap_or(0);
    check_size(longest, 2, job.delivery.format).map_err(|e| e.at(folder.path().join("mix.wav")))?;

    let clips = Plan::for_clips(2 * voices.len() + 1);
    for voice in &mut voices {
        voice.process(job, folder.path(), progress)?;
    }
    programme::balance(&mut voices);
    let mut files = Vec::new();
    for voice in &mut voices {
        let path = folder.path().join(format!("voice-{}.wav", voice.name));
        let channels = voice.channels() as u16;
        files.push(WavFile::create(&path, job.delivery.rate_hz, channels, job.delivery.format)?);
    }
    let mut programme = Programme::sum(&mut voices, &mut files, job, folder.path(), progress)?;
    let mix = programme.deliver(job, folder.path(), &mut warnings, progress)?;

    progress.step("writing the report", None);
    let mut series = Vec::new();
    for voice in &mut voices {
        let mut drawn = voice.series();
        drawn.excerpt = match &clips {
            Some(plan) => clips::compare(voice, plan, job)?,
            None => None,
        };
        series.push(drawn);
    }
    let mut mix_series = programme.series();
    mix_series.excerpt = match &clips {
        Some(plan) => programme.excerpt(plan, job.delivery.rate_hz)?,
        None => None,
    };

    let report = Report {
        format: data::FORMAT,
        job: title(&names, demo.is_some()),
        demo,
        voices: voices.iter().map(Voice::report).collect::<Result<_, _>>()?,
        mix: mix.data,
        target: Target {
            integrated_lufs: job.delivery.integrated_lufs,
            ceiling_dbtp: job.delivery.ceiling_dbtp,
            tolerance_lu: job.delivery.tolerance_lu,
            name: job.delivery.document.clone(),
        },
        seconds: Seconds {
            audio: longest as f64 / f64::from(job.delivery.rate_hz),
            processing: began.elapsed().as_secs_f64(),
        },
        warnings,
        files: planned.iter().map(|name| WrittenFile { name: name.clone(), what: what_is(name) }).collect(),
    };
    let json = report.to_json().map_err(|e| {
        JobError::new(Trouble::NoSound, format!("the report has a number that is none ({e})"), "please report this")
    })?;
    let page = render(&Page { report: report.clone(), voices: series, mix: mix_series });

    // Everything goes to the disk first, and only then gets its name: the report before all others, as by it the
    // program knows its own files again.
    let mut made = vec![folder.stage("report.json", &json)?, folder.stage("report.html", &page)?];
    for voice in &voices {
        made.push(folder.stage(&format!("settings-{}.toml", voice.name), &settings_file::to_text(&voice.settings)?)?);
    }
    for file in files {
        made.push(file.complete()?);
    }
    made.push(mix.file.complete()?);
    folder.finish(made)?;
    Ok(report)
}

/// A source with the safe name of its voice.
type NamedSource = (String, Source);

/// The recordings with safe names, or the demo with its faults.
fn sources(job: &Job) -> Result<(Vec<NamedSource>, Option<Demo>), JobError> {
    if job.recordings.is_empty() {
        let voices = demo_voices::interview();
        let faults = voices
            .iter()
            .flat_map(|v| {
                v.faults.iter().map(|f| Fault { voice: v.name.to_string(), words: f.to_string().replace(" -", " −") })
            })
            .collect();
        let scenario = "An invented interview: a host asks, a lighthouse keeper's apprentice answers. Both voices are \
                        synthetic, with faults that were put in on purpose."
            .to_string();
        let sources = voices
            .into_iter()
            .map(|v| (v.name.to_string(), Source::Made { rate_hz: v.rate_hz, samples: v.recording }))
            .collect();
        return Ok((sources, Some(Demo { scenario, faults })));
    }
    let mut taken: Vec<(same_file::Handle, &Recording)> = Vec::new();
    let mut names = Vec::new();
    let mut sources = Vec::new();
    for recording in &job.recordings {
        // What cannot be read is found out before the work begins on what can.
        let audio = AudioFile::open(&recording.path)?;
        if let Some(frames) = audio.frames() {
            let frames = (frames as f64 * f64::from(job.delivery.rate_hz) / f64::from(audio.rate_hz())) as u64;
            check_size(frames, 2, job.delivery.format).map_err(|e| e.at(job.out.join("mix.wav")))?;
        }
        // The same by another name, too: over a link or a roundabout path.
        let real = same_file::Handle::from_path(&recording.path).map_err(|e| JobError::opening(&recording.path, &e))?;
        if let Some((_, other)) = taken.iter().find(|(file, _)| *file == real) {
            return Err(JobError::new(
                Trouble::Usage,
                format!("the same file is given twice (for {} and {})", other.name, recording.name),
                "give every voice its own recording",
            )
            .at(&recording.path));
        }
        taken.push((real, recording));
        let name = unused(safe_name(&recording.name), &names);
        names.push(name.clone());
        sources.push((name, Source::File(recording.path.clone())));
    }
    Ok((sources, None))
}

/// Lower-case letters, digits and hyphens, at most 40; "voice" when nothing is left.
fn safe_name(name: &str) -> String {
    let mut safe = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_alphanumeric() {
            safe.push(c);
        } else if !safe.is_empty() && !safe.ends_with('-') {
            safe.push('-');
        }
    }
    let safe: String = safe.trim_end_matches('-').chars().take(40).collect();
    if safe.is_empty() { "voice".into() } else { safe }
}

/// The name, numbered if it is taken.
fn unused(name: String, taken: &[String]) -> String {
    if !taken.contains(&name) {
        return name;
    }
    (2..).map(|n| format!("{name}-{n}")).find(|n| !taken.contains(n)).unwrap_or(name)
}

fn file_names(voices: &[String]) -> Vec<String> {
    let mut names = vec!["mix.wav".to_string()];
    names.extend(voices.iter().map(|v| format!("voice-{v}.wav")));
    names.extend(voices.iter().map(|v| format!("settings-{v}.toml")));
    names.extend(["report.html".to_string(), "report.json".to_string()]);
    names
}

fn what_is(name: &str) -> String {
    let words = match Path::new(name).file_stem().and_then(|s| s.to_str()) {
        Some("mix") => "the delivered mix",
        Some("report") if name.ends_with("html") => "the report as a page",
        Some("report") => "the report as data",
        Some(stem) if stem.starts_with("voice-") => {
            "the balanced voice, aligned to its input, before programme gain and limiter"
        }
        _ => "the strip's settings for this voice",
    };
    words.to_string()
}

fn title(names: &[String], demo: bool) -> String {
    let voices = match names {
        [one] => one.clone(),
        [others @ .., last] => format!("{} and {last}", others.join(", ")),
        [] => String::new(),
    };
    if demo { format!("Demo interview: {voices}") } else { format!("Interview: {voices}") }
}

fn warn_of_lengths(voices: &[Voice], warnings: &mut Vec<String>) {
    let longest = voices.iter().max_by_key(|v| v.frames());
    let shortest = voices.iter().min_by_key(|v| v.frames());
    if let (Some(longest), Some(shortest)) = (longest, shortest)
        && longest.frames() > 2 * shortest.frames()
    {
        warnings.push(format!(
            "very different lengths: {} has {}, {} only {}; all start together",
            longest.name,
            words::duration(longest.seconds()),
            shortest.name,
            words::duration(shortest.seconds())
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_safe_and_numbered() {
        assert_eq!(safe_name("../../Étude No. 3 (final).take"), "étude-no-3-final-take");
        assert_eq!(safe_name("///"), "voice");
        assert_eq!(safe_name(&"x".repeat(300)).len(), 40);
        let taken = ["anna".to_string(), "anna-2".to_string()];
        assert_eq!(unused("anna".into(), &taken), "anna-3");
    }
}
