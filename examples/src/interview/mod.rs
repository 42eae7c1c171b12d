//! Interview mix: several voices, each processed by the strip, balanced, summed and delivered.
//!
//! Every voice is read twice and the mix several times, the written mix once more to measure it, always as a stream through an unnamed temporary file in the
//! output folder, so that memory does not grow with the length of the recordings.

mod assign_settings;
mod assigned_settings;
pub(crate) mod clips;
mod gain_search;
mod job;
mod levels;
mod names;
mod programme;
mod settings_text;
mod sources;
mod voice;

pub use job::{Job, Recording, SettingsSource};

use crate::error::{JobError, JobErrorKind};
use crate::output_folder::OutputFolder;
use crate::progress::Progress;
use crate::report::data::{Report, Target, Timing, WrittenFile};
use crate::report::excerpt::ClipBudget;
use crate::report::text::length;
use crate::report::{ReportPage, data, render};
use crate::settings_file;
use crate::wav_file::{WavFile, check_size};
use names::{file_description, file_names, job_title};
use programme::Programme;
use sources::sources;
use std::path::PathBuf;
use std::time::Instant;
use voice::Voice;

/// Runs the job, writes all files to the output folder and returns the report.
///
/// # Errors
/// Any error of the job, as one line with place, problem and advice. No partial output remains.
pub fn run(job: &Job, progress: &mut dyn Progress) -> Result<Report, JobError> {
    let began = Instant::now();
    job.delivery.check()?;
    if let SettingsSource::CarriedOver { host: settings, .. } | SettingsSource::Given { settings, .. } =
        &job.settings_source
    {
        settings.check().map_err(|e| JobError::new(JobErrorKind::Usage, e.to_string(), "correct this setting"))?;
    }
    let (sources, demo) = sources(job)?;
    let mut folder = OutputFolder::open(&job.out, "--out", job.force)?;
    let names: Vec<String> = sources.iter().map(|(name, _)| name.clone()).collect();
    let planned = file_names(&names);
    let inputs: Vec<PathBuf> = job.recordings.iter().map(|recording| recording.path.clone()).collect();
    folder.check_overwrite(&planned, &inputs)?;

    let mut warnings = Vec::new();
    let mut voices = Vec::new();
    for (name, source) in sources {
        voices.push(Voice::read(name, source, job, folder.path(), progress)?);
    }
    assign_settings::assign(&mut voices, &job.settings_source);
    warn_of_lengths(&voices, &mut warnings);
    let longest = voices.iter().map(Voice::frames).max().unwrap_or(0);
    check_size(longest, 2, job.delivery.format).map_err(|e| e.at(folder.path().join("mix.wav")))?;

    let clips = ClipBudget::for_clips(2 * voices.len() + 1);
    for voice in &mut voices {
        voice.process(folder.path(), progress)?;
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
            Some(budget) => clips::compare(voice, budget, job)?,
            None => None,
        };
        series.push(drawn);
    }
    let mut mix_series = programme.series();
    mix_series.excerpt = match &clips {
        Some(budget) => programme.excerpt(budget, job.delivery.rate_hz)?,
        None => None,
    };

    let report = Report {
        format: data::FORMAT,
        title: job_title(&names, demo.is_some()),
        demo,
        voices: voices.iter().map(Voice::report).collect::<Result<_, _>>()?,
        mix: mix.data,
        target: Target::of(&job.delivery),
        timing: Timing {
            programme_s: longest as f64 / f64::from(job.delivery.rate_hz),
            processing_s: began.elapsed().as_secs_f64(),
        },
        warnings,
        files: planned
            .iter()
            .map(|name| WrittenFile { name: name.clone(), description: file_description(name) })
            .collect(),
    };
    let json = report.to_json().map_err(|e| {
        JobError::new(
            JobErrorKind::NoSound,
            format!("the report contains an invalid number ({e})"),
            "please report this bug",
        )
    })?;
    let page = render(&ReportPage { report: report.clone(), voices: series, mix: mix_series });

    // All files are written before any is renamed. The report is renamed first, because later runs recognise their own
    // files by it.
    let mut made = vec![folder.write_pending("report.json", &json)?, folder.write_pending("report.html", &page)?];
    for voice in &voices {
        made.push(
            folder
                .write_pending(&format!("settings-{}.toml", voice.name), &settings_file::to_text(&voice.settings)?)?,
        );
    }
    for file in files {
        made.push(file.complete()?);
    }
    made.push(mix.file);
    folder.finish(made)?;
    Ok(report)
}

/// Warns when the longest voice is more than twice as long as the shortest: they may be from different sessions.
fn warn_of_lengths(voices: &[Voice], warnings: &mut Vec<String>) {
    let longest = voices.iter().max_by_key(|v| v.frames());
    let shortest = voices.iter().min_by_key(|v| v.frames());
    if let (Some(longest), Some(shortest)) = (longest, shortest)
        && longest.frames() > 2 * shortest.frames()
    {
        warnings.push(format!(
            "very different lengths: {} lasts {}, {} only {}; all voices start at the same time",
            longest.name,
            length(longest.seconds()),
            shortest.name,
            length(shortest.seconds())
        ));
    }
}
