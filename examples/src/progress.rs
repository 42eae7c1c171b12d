//! How far the work is, and whether it should end.

use crate::error::{JobError, JobErrorKind};

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
        return Err(JobError::new(JobErrorKind::Stopped, "stopped; nothing was written", ""));
    }
    Ok(())
}

/// Tells nobody.
pub struct NoProgress;

impl Progress for NoProgress {
    fn step(&mut self, _words: &str, _total: Option<u64>) {}
    fn done(&mut self, _frames: u64) {}
}
