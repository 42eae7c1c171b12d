//! Program that mixes an interview: each voice is processed, balanced, summed and delivered. Without files it mixes a
//! demo.

use clap::{Parser, ValueEnum};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use voicechain_core::propose::{Context, Role, VocalStyle};
use voicechain_core::strip::StartingPoint;
use voicechain_examples::delivery::{PUBLISHED_TARGETS, published_target};
use voicechain_examples::interview::{Job, Recording, SettingsSource, run};
use voicechain_examples::report::table;
use voicechain_examples::terminal::{self, Finished, TerminalProgress};
use voicechain_examples::wav_file::WavFormat;
use voicechain_examples::{JobError, JobErrorKind, settings_file};

/// Mixes recorded voices into a finished interview. Without files: a demo of two synthetic voices with known faults.
#[derive(Parser)]
#[command(name = "mix_interview", after_help = format!("{CAUTIONS}\n\n{}", terminal::EXIT_CODES))]
struct Arguments {
    /// Recordings, one voice each (WAV, AIFF, FLAC, MP3, M4A, Ogg Vorbis; mono or stereo; any rate from 8 to 192 kHz)
    recordings: Vec<PathBuf>,
    /// Recording of the host
    #[arg(long, value_name = "FILE")]
    host: Option<PathBuf>,
    /// Recording of the guest
    #[arg(long, value_name = "FILE")]
    guest: Option<PathBuf>,
    /// Output folder
    #[arg(long, value_name = "DIR", default_value = "mixed")]
    out: PathBuf,
    /// Also overwrite files that are not from an earlier run
    #[arg(long)]
    force: bool,
    /// Published target: sets loudness and ceiling; --loudness and --ceiling override it
    #[arg(long, value_name = "NAME", help = target_help())]
    target: Option<String>,
    /// Integrated loudness of the mix, LUFS [default: -16]
    #[arg(long, value_name = "LUFS", allow_negative_numbers = true)]
    loudness: Option<f64>,
    /// True-peak ceiling of the mix, dBTP [default: -1]
    #[arg(long, value_name = "DBTP", allow_negative_numbers = true)]
    ceiling: Option<f64>,
    /// Sample rate of the output files, 44100 or 48000 Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    rate: u32,
    /// Sample format of the output files
    #[arg(long, value_enum, default_value_t = Format::Int24)]
    format: Format,
    /// Propose settings for voices over music [default: solo voices]
    #[arg(long, conflicts_with_all = ["settings", "starting_point"])]
    over_music: bool,
    /// Propose settings for sung voices [default: spoken]
    #[arg(long, conflicts_with_all = ["settings", "starting_point"])]
    sung: bool,
    /// Settings file for the host; your changes to the proposal are carried over to the other voices, adapted to each
    #[arg(long, value_name = "FILE", conflicts_with_all = ["settings", "starting_point"])]
    host_settings: Option<PathBuf>,
    /// Settings file for all voices instead of proposals; the trim is set for each voice
    #[arg(long, value_name = "FILE", conflicts_with = "starting_point")]
    settings: Option<PathBuf>,
    /// Starting point for all voices instead of proposals; the trim is set for each voice
    #[arg(long, value_enum)]
    starting_point: Option<StartingPointName>,
}

const CAUTIONS: &str = "Without settings, every voice is measured and its settings are proposed, with the evidence in \
the table and the report. Start playback at a low level. Recording people requires their consent; local law applies. \
Loudness and peak targets change: follow the current written specification of the destination.";

fn target_help() -> String {
    let list: Vec<String> = PUBLISHED_TARGETS
        .iter()
        .map(|t| format!("{} ({}: {} LUFS, {} dBTP)", t.name, t.document, t.integrated_lufs, t.ceiling_dbtp))
        .collect();
    format!("Published target, sets loudness and ceiling: {}; --loudness and --ceiling override it", list.join(", "))
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// 16 bit with TPDF dither
    #[value(name = "16")]
    Int16,
    /// 24 bit
    #[value(name = "24")]
    Int24,
    /// 32-bit float
    #[value(name = "float")]
    Float32,
}

#[derive(Clone, Copy, ValueEnum)]
enum StartingPointName {
    /// Spoken voice, close
    SpokenClose,
    /// Spoken voice in a live room
    SpokenLiveRoom,
    /// Remote call
    RemoteCall,
    /// Sung voice alone
    SungAlone,
    /// Sung voice in a mix
    SungInMix,
}

impl StartingPointName {
    fn point(self) -> StartingPoint {
        match self {
            Self::SpokenClose => StartingPoint::SpokenClose,
            Self::SpokenLiveRoom => StartingPoint::SpokenLiveRoom,
            Self::RemoteCall => StartingPoint::RemoteCall,
            Self::SungAlone => StartingPoint::SungAlone,
            Self::SungInMix => StartingPoint::SungInMix,
        }
    }
}

/// Name of a voice: the stem of its file name.
fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "voice".into(), |s| s.to_string_lossy().into_owned())
}

fn job(arguments: Arguments) -> Result<Job, JobError> {
    let demo = arguments.host.is_none() && arguments.guest.is_none() && arguments.recordings.is_empty();
    if arguments.host_settings.is_some() && arguments.host.is_none() && !demo {
        return Err(JobError::new(
            JobErrorKind::Usage,
            "--host-settings needs a recording of the host",
            "name it with --host",
        ));
    }
    let named = [("host", arguments.host), ("guest", arguments.guest)];
    let mut recordings: Vec<Recording> =
        named.into_iter().filter_map(|(name, path)| path.map(|path| Recording { name: name.into(), path })).collect();
    recordings.extend(arguments.recordings.into_iter().map(|path| Recording { name: stem(&path), path }));
    let mut job = Job::new(recordings, arguments.out);
    job.force = arguments.force;
    if let Some(name) = arguments.target {
        let target = published_target(&name)?;
        job.delivery.integrated_lufs = target.integrated_lufs;
        job.delivery.ceiling_dbtp = target.ceiling_dbtp;
        job.delivery.tolerance_lu = target.tolerance_lu;
        job.delivery.document = Some(target.document.to_string());
    }
    if let Some(loudness) = arguments.loudness {
        job.delivery.integrated_lufs = loudness;
    }
    if let Some(ceiling) = arguments.ceiling {
        job.delivery.ceiling_dbtp = ceiling;
    }
    if arguments.loudness.is_some() || arguments.ceiling.is_some() {
        job.delivery.document = None;
    }
    job.delivery.rate_hz = arguments.rate;
    job.delivery.format = match arguments.format {
        Format::Int16 => WavFormat::Int16,
        Format::Int24 => WavFormat::Int24,
        Format::Float32 => WavFormat::Float32,
    };
    let context = Context {
        role: if arguments.over_music { Role::OverMusic } else { Role::SoloVoice },
        vocal_style: if arguments.sung { VocalStyle::Sung } else { VocalStyle::Spoken },
    };
    job.settings_source = match (arguments.settings, arguments.starting_point, arguments.host_settings) {
        (Some(path), _, _) => {
            SettingsSource::Given { settings: settings_file::read(&path)?, from: format!("from {}", path.display()) }
        }
        (None, Some(start), _) => SettingsSource::Given {
            settings: start.point().settings(),
            from: format!("starting point “{}”", start.point().name()),
        },
        (None, None, Some(path)) => {
            SettingsSource::CarriedOver { context, host: settings_file::read(&path)?, from: path.display().to_string() }
        }
        (None, None, None) => SettingsSource::Proposed(context),
    };
    Ok(job)
}

fn main() -> ExitCode {
    terminal::hide_decoder_panics();
    let arguments = match terminal::parse::<Arguments>() {
        Ok(arguments) => arguments,
        Err(code) => return code,
    };
    let mut progress = TerminalProgress::new();
    let outcome = job(arguments).and_then(|job| run(&job, &mut progress).map(|report| (report, job.out)));
    progress.finish();
    terminal::end(outcome.map(|(report, out)| Finished {
        text: table::summary(&report, &out.display().to_string()),
        target_missed: table::target_missed(&report, &out.join("mix.wav").display().to_string()),
    }))
}
