//! Progress reporting and cancellation.

use crate::error::{JobError, JobErrorKind};

/// Receiver of the job's progress.
pub trait Progress {
    /// Starts a new step of `total` frames, if the length is known.
    fn step(&mut self, words: &str, total: Option<u64>);
    /// Reports that `frames` frames of the step are done.
    fn done(&mut self, frames: u64);
    /// Whether the job should stop without output.
    fn stop(&self) -> bool {
        false
    }
}

/// Reports progress.
///
/// # Errors
/// The job should stop.
pub(crate) fn advance(progress: &mut dyn Progress, frames: u64) -> Result<(), JobError> {
    progress.done(frames);
    if progress.stop() {
        return Err(JobError::new(JobErrorKind::Stopped, "stopped; nothing was written", ""));
    }
    Ok(())
}

/// Progress receiver that ignores everything.
pub struct NoProgress;

impl Progress for NoProgress {
    fn step(&mut self, _words: &str, _total: Option<u64>) {}
    fn done(&mut self, _frames: u64) {}
}
