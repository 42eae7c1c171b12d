//! How the programs meet a person at a terminal: the command line, a progress bar, the wish to stop, and how they end.

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

/// Exit code when nothing can be made.
const EXIT_FAILED: u8 = 2;
/// Exit code of a program that was stopped from the keyboard, as shells have it.
const EXIT_INTERRUPTED: u8 = 130;

/// A progress bar on a terminal, nothing elsewhere; and whether the person wants to stop.
pub struct TerminalProgress(ProgressBar, Arc<AtomicBool>);

impl TerminalProgress {
    /// A bar that waits for its first step, and the wish to stop heard from now on.
    pub fn new() -> Self {
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr_with_hz(10));
        bar.enable_steady_tick(Duration::from_millis(100));
        Self(bar, register_signals())
    }

    /// Clears the line.
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

/// A flag that Ctrl-C raises, so that the job ends in order and leaves nothing behind; the second time it ends at once.
/// A file beyond the size that the system allows becomes an error of writing instead of the end of the program.
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

/// Leaves out the message of a panic in the decoding library: it is caught, and told as a damaged file. For the beginning
/// of a program, because the hook is the whole program's.
pub fn hide_decoder_panics() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        if !is_decoding() {
            usual(info);
        }
    }));
}

/// What the parser found, in one line: the fault, and what would have been possible.
fn one_line(error: &clap::Error) -> String {
    let text = error.to_string();
    let facts: Vec<&str> = text.lines().map(str::trim).take_while(|line| !line.is_empty()).collect();
    let line: String = facts.join(" ").chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    format!("{line}; --help shows what is possible")
}

/// The command line; or how the program ends at once, with help or with one line that says what is wrong.
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

/// Ends the program with what it has to say, or with the trouble in one line.
pub fn end(outcome: Result<String, JobError>) -> ExitCode {
    match outcome {
        Ok(text) => {
            // Nobody may be reading; the files are there all the same.
            let _ = write!(stdout(), "{text}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            let _ = writeln!(stderr(), "error: {error}");
            ExitCode::from(if error.error_kind() == JobErrorKind::Stopped { EXIT_INTERRUPTED } else { EXIT_FAILED })
        }
    }
}
