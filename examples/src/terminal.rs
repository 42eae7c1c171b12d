//! Terminal front end of the programs: command line, progress bar, stop signals and exit codes.

use crate::audio_file::is_decoding;
use crate::error::{JobError, JobErrorKind};
use crate::progress::Progress;
use clap::Parser;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{Write, stderr, stdout};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Exit code of a job that is done and misses its target: its files are written.
const EXIT_TARGET_MISSED: u8 = 1;
/// Exit code of a failed job.
const EXIT_FAILED: u8 = 2;
/// Exit code of a program stopped from the keyboard, 128 + SIGINT, as shells report it.
const EXIT_INTERRUPTED: u8 = 130;

/// Progress bar on a terminal, silent elsewhere, with the stop flag of the signal handlers.
pub struct TerminalProgress(ProgressBar, Arc<AtomicBool>);

impl TerminalProgress {
    /// An empty bar. Registers the signal handlers.
    pub fn new() -> Self {
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr_with_hz(10));
        bar.enable_steady_tick(Duration::from_millis(100));
        Self(bar, register_signals())
    }

    /// Clears the bar.
    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}

impl Default for TerminalProgress {
    fn default() -> Self {
        Self::new()
    }
}

impl Progress for TerminalProgress {
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

/// Flag that SIGINT and SIGTERM set, so that the job removes its files and ends. A second signal exits at once.
/// SIGXFSZ is caught too: exceeding the file size limit becomes a write error instead of killing the program.
fn register_signals() -> Arc<AtomicBool> {
    use signal_hook::{consts, flag};
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [consts::SIGINT, consts::SIGTERM] {
        let _ = flag::register_conditional_shutdown(signal, EXIT_INTERRUPTED.into(), Arc::clone(&stop));
        let _ = flag::register(signal, Arc::clone(&stop));
    }
    #[cfg(unix)]
    let _ = flag::register(libc::SIGXFSZ, Arc::new(AtomicBool::new(false)));
    stop
}

/// Suppresses the message of panics in the decoding library, which are caught and reported as damaged files. To be
/// called at program start, because the panic hook is global.
pub fn hide_decoder_panics() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !is_decoding() {
            usual(info);
        }
    }));
}

/// The parser's error as one line: the problem and the allowed values.
fn one_line(error: &clap::Error) -> String {
    let text = error.to_string();
    let facts: Vec<&str> = text.lines().map(str::trim).take_while(|line| !line.is_empty()).collect();
    let line: String = facts.join(" ").chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    format!("{line}; use --help to list the options")
}

/// Parses the command line. `Err` is the exit code after the help text or a one-line error has been printed.
pub fn parse<A: Parser>() -> Result<A, ExitCode> {
    A::try_parse().map_err(|e| {
        if e.use_stderr() {
            let _ = writeln!(stderr(), "{}", one_line(&e));
            return ExitCode::from(EXIT_FAILED);
        }
        let _ = write!(stdout(), "{e}");
        ExitCode::SUCCESS
    })
}

/// Exit codes for the help text of a program with a target.
pub const EXIT_CODES: &str = "Exit codes: 0, the files are written and meet the target; 1, the files are written but miss \
the target, the table and the report say why; 2, an error, nothing is written; 130, stopped from the keyboard.";

/// Result of a job that is done.
#[derive(Debug)]
pub struct Finished {
    /// Text for standard output.
    pub text: String,
    /// Line for standard error if the result misses its target.
    pub target_missed: Option<String>,
}

impl From<String> for Finished {
    fn from(text: String) -> Self {
        Self { text, target_missed: None }
    }
}

/// Prints the result to standard output, or the error or a missed target to standard error, and returns the exit code.
pub fn end(outcome: Result<Finished, JobError>) -> ExitCode {
    match outcome {
        Ok(finished) => {
            // A closed standard output is not an error: the files are written.
            let _ = write!(stdout(), "{}", finished.text);
            match finished.target_missed {
                None => ExitCode::SUCCESS,
                Some(line) => {
                    let _ = writeln!(stderr(), "target missed: {line}");
                    ExitCode::from(EXIT_TARGET_MISSED)
                }
            }
        }
        Err(error) => {
            let _ = writeln!(stderr(), "error: {error}");
            ExitCode::from(if error.error_kind() == JobErrorKind::Stopped { EXIT_INTERRUPTED } else { EXIT_FAILED })
        }
    }
}
