//! Program that measures recorded voices and proposes strip settings for each, with the evidence.

use clap::Parser;
use std::path::PathBuf;
use std::process::ExitCode;
use voicechain_core::measure::profile::Resonance;
use voicechain_core::propose::{Context, Role, VocalStyle};
use voicechain_examples::output_folder::{check_file_overwrite, write_pending};
use voicechain_examples::terminal::{self, TerminalProgress};
use voicechain_examples::voice_page::{MeasuredVoice, audition, data, drawing, page};
use voicechain_examples::wav_file::PendingFile;
use voicechain_examples::{JobError, JobErrorKind, settings_file};

/// Measures recorded voices and proposes strip settings for each, with the evidence
#[derive(Parser)]
#[command(name = "measure_voice", after_help = NOTES)]
struct Arguments {
    /// Recordings, one voice each (WAV, AIFF, FLAC, MP3, M4A, Ogg Vorbis; mono or stereo; any rate from 8 to 192 kHz)
    #[arg(required = true, value_name = "FILE")]
    recordings: Vec<PathBuf>,
    /// Propose settings for a voice over music [default: solo voice]
    #[arg(long)]
    over_music: bool,
    /// Propose settings for a sung voice [default: spoken]
    #[arg(long)]
    sung: bool,
    /// Print JSON: one object for one recording, a list of objects for several
    #[arg(long)]
    json: bool,
    /// Write the proposal as a settings file, for mix_interview --settings (one recording only)
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Write an SVG drawing of the voice's spectrum against published speech (one recording only)
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Write short clips of every candidate resonance to new files, to judge by ear (one recording only)
    #[arg(long, value_name = "DIR")]
    audition: Option<PathBuf>,
    /// Overwrite existing files; clips of --audition are never overwritten
    #[arg(long)]
    force: bool,
}

const NOTES: &str = "Silence, less than two seconds of speech, tones, noise and music are not \
errors: the page names them, and nothing but the limiter is on in the proposal. The JSON follows the \
schema examples/src/voice_page/schema.json. Start playback at a low level: the clips of \
--audition are equally loud, even where little signal is left.";

fn usage(what: &str, advice: &str) -> JobError {
    JobError::new(JobErrorKind::Usage, what, advice)
}

fn measure(arguments: &Arguments, progress: &mut TerminalProgress) -> Result<String, JobError> {
    let results: Vec<&PathBuf> = [&arguments.settings, &arguments.svg].into_iter().flatten().collect();
    if (!results.is_empty() || arguments.audition.is_some()) && arguments.recordings.len() > 1 {
        return Err(usage(
            "--settings, --svg and --audition accept only one recording",
            "name one recording, or omit these options",
        ));
    }
    if let [one, other] = results[..]
        && one == other
    {
        return Err(usage("--settings and --svg name the same file", "give each its own file name"));
    }
    for path in &results {
        check_file_overwrite(path, &arguments.recordings, arguments.force)?;
    }
    let context = Context {
        role: if arguments.over_music { Role::OverMusic } else { Role::SoloVoice },
        vocal_style: if arguments.sung { VocalStyle::Sung } else { VocalStyle::Spoken },
    };
    let voices = arguments
        .recordings
        .iter()
        .map(|path| MeasuredVoice::measure(path, context, progress))
        .collect::<Result<Vec<_>, _>>()?;
    // Both files are complete on the disk before either is renamed.
    let mut files = Vec::new();
    for voice in &voices {
        if let Some(path) = &arguments.settings {
            files.push(write_pending(path.clone(), &settings_file::to_text(&voice.proposal.settings)?)?);
        }
        if let Some(path) = &arguments.svg {
            files.push(write_pending(path.clone(), &drawing::render(voice))?);
        }
    }
    let mut clip_summary = String::new();
    match (&arguments.audition, &voices[..]) {
        (Some(folder), [voice]) => {
            let candidates: Vec<Resonance> = voice.profile.resonances.iter().flatten().flatten().copied().collect();
            let clips = audition::clips(&arguments.recordings[0], &candidates, folder, progress)?;
            clip_summary = format!("\n\n{}", audition::words(clips.as_ref(), folder));
            match clips {
                Some(clips) => clips.commit(files)?,
                None => commit(files)?,
            }
        }
        _ => commit(files)?,
    }
    if arguments.json {
        return data::to_json(&voices)
            .map_err(|e| usage(&format!("the result cannot be written as JSON ({e})"), "please report this bug"));
    }
    Ok(voices.iter().map(page::render).collect::<Vec<_>>().join("\n\n") + &clip_summary)
}

fn commit(files: Vec<PendingFile>) -> Result<(), JobError> {
    files.into_iter().try_for_each(PendingFile::commit)
}

fn main() -> ExitCode {
    terminal::hide_decoder_panics();
    let arguments = match terminal::parse::<Arguments>() {
        Ok(arguments) => arguments,
        Err(code) => return code,
    };
    let mut progress = TerminalProgress::new();
    let outcome = measure(&arguments, &mut progress);
    progress.finish();
    terminal::end(outcome.map(Into::into))
}
