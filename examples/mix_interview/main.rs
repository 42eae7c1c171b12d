//! Mixes an interview: each voice through the strip, balanced, summed and delivered. Without files it makes a demo.

use clap::{Parser, ValueEnum};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{Write, stderr, stdout};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use voicechain_core::strip::StartingPoint;
use voicechain_examples::delivery::{PUBLISHED_TARGETS, published};
use voicechain_examples::interview::{Job, Progress, Recording, run};
use voicechain_examples::report::table;
use voicechain_examples::wav_file::WavFormat;
use voicechain_examples::{JobError, Trouble, settings_file};

/// Makes a finished interview out of recorded voices. Without files: a demo of two made-up voices with known faults.
#[derive(Parser)]
#[command(name = "mix_interview", after_help = CAUTIONS)]
struct Arguments {
    /// Recordings, one voice each (WAV, AIFF, FLAC, MP3, M4A, Ogg Vorbis; mono or stereo; any rate from 8 to 192 kHz)
    recordings: Vec<PathBuf>,
    /// The host's recording
    #[arg(long, value_name = "FILE")]
    host: Option<PathBuf>,
    /// The guest's recording
    #[arg(long, value_name = "FILE")]
    guest: Option<PathBuf>,
    /// Folder for the results
    #[arg(long, value_name = "DIR", default_value = "mixed")]
    out: PathBuf,
    /// Overwrite files that are not from an earlier run
    #[arg(long)]
    force: bool,
    /// Published target: sets loudness and ceiling together; explicit ones win
    #[arg(long, value_name = "NAME", help = target_help())]
    target: Option<String>,
    /// Integrated loudness of the mix, LUFS [default: -16]
    #[arg(long, value_name = "LUFS", allow_negative_numbers = true)]
    loudness: Option<f64>,
    /// Ceiling of the true peak, dBTP [default: -1]
    #[arg(long, value_name = "DBTP", allow_negative_numbers = true)]
    ceiling: Option<f64>,
    /// Sample rate of the results, 44100 or 48000 Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    rate: u32,
    /// Sample format of the results
    #[arg(long, value_enum, default_value_t = Format::Int24)]
    format: Format,
    /// Starting point of the settings
    #[arg(long, value_enum, default_value_t = Start::SpokenClose, conflicts_with = "settings")]
    start: Start,
    /// Settings file for the first voice, from which the others start too
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
}

const CAUTIONS: &str = "Start playback low. Recordings of people need their consent; local law decides. Loudness and \
peak targets change: the destination's current written specification decides.";

fn target_help() -> String {
    let list: Vec<String> = PUBLISHED_TARGETS
        .iter()
        .map(|t| format!("{} ({}: {} LUFS, {} dBTP)", t.name, t.document, t.integrated_lufs, t.ceiling_dbtp))
        .collect();
    format!("Published target, sets loudness and ceiling together: {}; explicit ones win", list.join(", "))
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
enum Start {
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

impl Start {
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

/// The name of a voice from its file's name.
fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "voice".into(), |s| s.to_string_lossy().into_owned())
}

fn job(arguments: Arguments) -> Result<Job, JobError> {
    let named = [("host", arguments.host), ("guest", arguments.guest)];
    let mut recordings: Vec<Recording> =
        named.into_iter().filter_map(|(name, path)| path.map(|path| Recording { name: name.into(), path })).collect();
    recordings.extend(arguments.recordings.into_iter().map(|path| Recording { name: stem(&path), path }));
    let mut job = Job::new(recordings, arguments.out);
    job.force = arguments.force;
    if let Some(name) = arguments.target {
        let target = published(&name)?;
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
    match arguments.settings {
        Some(path) => {
            job.settings = settings_file::read(&path)?;
            job.settings_from = format!("from {}", path.display());
        }
        None => {
            let start = arguments.start.point();
            job.settings = start.settings();
            job.settings_from = format!("starting point “{}”", start.name());
        }
    }
    Ok(job)
}

/// A progress bar on a terminal, nothing elsewhere; and whether the person wants to stop.
struct Bar(ProgressBar, Arc<AtomicBool>);

impl Progress for Bar {
    fn step(&mut self, words: &str, total: Option<u64>) {
        self.0.reset();
        self.0.set_length(total.unwrap_or(0));
        self.0.set_message(words.to_string());
        let style = if total.is_some() { "{msg:30} {bar:40} {percent:>3} %  {eta} left" } else { "{msg:30} {spinner}" };
        if let Ok(style) = ProgressStyle::with_template(style) {
            self.0.set_style(style);
        }
    }

    fn done(&mut self, frames: u64) {
        self.0.set_position(frames);
    }

    fn stop(&self) -> bool {
        self.1.load(Ordering::Relaxed)
    }
}

/// A flag that Ctrl-C raises, so that the job ends in order and leaves nothing behind; the second time it ends at once.
/// A file beyond the size that the system allows becomes an error of writing instead of the end of the program.
fn signals() -> Arc<AtomicBool> {
    use signal_hook::{consts, flag};
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [consts::SIGINT, consts::SIGTERM] {
        let _ = flag::register_conditional_shutdown(signal, STOPPED.into(), Arc::clone(&stop));
        let _ = flag::register(signal, Arc::clone(&stop));
    }
    #[cfg(unix)]
    let _ = flag::register(libc::SIGXFSZ, Arc::new(AtomicBool::new(false)));
    stop
}

/// Exit code when nothing can be made.
const FAILED: u8 = 2;
/// Exit code of a program that was stopped from the keyboard, as shells have it.
const STOPPED: u8 = 130;

/// What the parser found, in one line: the fault, and what would have been possible.
fn one_line(error: &clap::Error) -> String {
    let text = error.to_string();
    let facts: Vec<&str> = text.lines().map(str::trim).take_while(|line| !line.is_empty()).collect();
    let line: String = facts.join(" ").chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    format!("{line}; --help shows what is possible")
}

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(e) if e.use_stderr() => {
            let _ = writeln!(stderr(), "{}", one_line(&e));
            return ExitCode::from(FAILED);
        }
        Err(help) => {
            let _ = write!(stdout(), "{help}");
            return ExitCode::SUCCESS;
        }
    };
    let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr_with_hz(10));
    bar.enable_steady_tick(Duration::from_millis(100));
    let mut progress = Bar(bar, signals());
    let outcome = job(arguments).and_then(|job| run(&job, &mut progress).map(|report| (report, job.out)));
    progress.0.finish_and_clear();
    match outcome {
        Ok((report, out)) => {
            // Nobody may be reading; the files are there all the same.
            let _ = write!(stdout(), "{}", table::summary(&report, &out.display().to_string()));
            ExitCode::SUCCESS
        }
        Err(error) => {
            let _ = writeln!(stderr(), "error: {error}");
            ExitCode::from(if error.trouble() == Trouble::Stopped { STOPPED } else { FAILED })
        }
    }
}
