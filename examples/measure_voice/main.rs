//! Measures recorded voices and proposes settings for each, with the reasons.

use clap::Parser;
use std::path::PathBuf;
use std::process::ExitCode;
use voicechain_core::voice::{Context, Delivery, Role};
use voicechain_examples::output_folder::{claim_file, stage};
use voicechain_examples::terminal::{self, Bar};
use voicechain_examples::voice_page::{VoicePage, data, drawing, page};
use voicechain_examples::{JobError, Trouble, settings_file};

/// Measures recorded voices and proposes settings for each, with the evidence for every one.
#[derive(Parser)]
#[command(name = "measure_voice", after_help = NOTES)]
struct Arguments {
    /// Recordings, one voice each (WAV, AIFF, FLAC, MP3, M4A, Ogg Vorbis; mono or stereo; any rate from 8 to 192 kHz)
    #[arg(required = true, value_name = "FILE")]
    recordings: Vec<PathBuf>,
    /// Propose for a voice with music under it [default: a voice alone]
    #[arg(long)]
    over_music: bool,
    /// Propose for a sung voice [default: spoken]
    #[arg(long)]
    sung: bool,
    /// Print JSON: an object for one recording, a list of objects for several
    #[arg(long)]
    json: bool,
    /// Write the proposal as a settings file, for the --settings of mix_interview (one recording only)
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Draw the voice against published speech (one recording only)
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Overwrite files that exist
    #[arg(long)]
    force: bool,
}

const NOTES: &str = "Silence and less than two seconds of speech are no error: the \
page says so and the proposal leaves the strip at rest. The schema of the JSON is \
examples/src/voice_page/schema.json.";

fn usage(what: &str, advice: &str) -> JobError {
    JobError::new(Trouble::Usage, what, advice)
}

fn measure(arguments: &Arguments, progress: &mut Bar) -> Result<String, JobError> {
    let results: Vec<&PathBuf> = [&arguments.settings, &arguments.svg].into_iter().flatten().collect();
    if !results.is_empty() && arguments.recordings.len() > 1 {
        return Err(usage(
            "--settings and --svg are for one recording",
            "name one recording, or leave these options out",
        ));
    }
    if let [one, other] = results[..]
        && one == other
    {
        return Err(usage("--settings and --svg name the same file", "give each a name of its own"));
    }
    for path in &results {
        claim_file(path, &arguments.recordings, arguments.force)?;
    }
    let context = Context {
        role: if arguments.over_music { Role::OverMusic } else { Role::SoloVoice },
        delivery: if arguments.sung { Delivery::Sung } else { Delivery::Spoken },
    };
    let voices = arguments
        .recordings
        .iter()
        .map(|path| VoicePage::measure(path, context, progress))
        .collect::<Result<Vec<_>, _>>()?;
    // Both are whole on the disk before either gets its name.
    let mut files = Vec::new();
    for voice in &voices {
        if let Some(path) = &arguments.settings {
            files.push(stage(path.clone(), &settings_file::to_text(&voice.proposal.settings)?)?);
        }
        if let Some(path) = &arguments.svg {
            files.push(stage(path.clone(), &drawing::render(voice))?);
        }
    }
    for file in files {
        file.place()?;
    }
    if arguments.json {
        return data::to_json(&voices)
            .map_err(|e| usage(&format!("the result cannot be written ({e})"), "report this"));
    }
    Ok(voices.iter().map(page::render).collect::<Vec<_>>().join("\n\n"))
}

fn main() -> ExitCode {
    let arguments = match terminal::parse::<Arguments>() {
        Ok(arguments) => arguments,
        Err(code) => return code,
    };
    let mut progress = Bar::new();
    let outcome = measure(&arguments, &mut progress);
    progress.finish();
    terminal::end(outcome)
}
