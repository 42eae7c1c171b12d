//! How an open window learns that there is something new to draw.
//!
//! Any thread says so through a flag, the audio thread too: it never waits. While a window is open, a thread of its own
//! looks at the flag and passes it on to the window layer, which takes a lock and wakes the window's thread.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

/// Says that there is something new to draw.
#[derive(Clone, Debug, Default)]
pub struct RedrawFlag(Arc<AtomicBool>);

impl RedrawFlag {
    /// Asks for a drawing. Does not allocate, lock or wait.
    pub fn request(&self) {
        self.0.store(true, Ordering::Release);
    }

    fn take(&self) -> bool {
        self.0.swap(false, Ordering::Acquire)
    }
}

/// The thread that looks at a flag; it ends when this is dropped.
#[derive(Debug)]
pub(crate) struct RedrawPoll {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl RedrawPoll {
    /// Looks at `flag` at regular times, and calls `redraw` when it was set.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub(crate) fn start(flag: RedrawFlag, every: Duration, redraw: impl Fn() + Send + 'static) -> io::Result<Self> {
        let (stop, stopped) = channel();
        let look = move || {
            while stopped.recv_timeout(every) == Err(RecvTimeoutError::Timeout) {
                if flag.take() {
                    redraw();
                }
            }
        };
        let thread = Builder::new().name("vc redraw".into()).spawn(look)?;
        Ok(Self { stop: Some(stop), thread: Some(thread) })
    }
}

impl Drop for RedrawPoll {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            // It panics only where `redraw` does, which the window layer has to answer for.
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flag_is_passed_on_once_and_the_thread_ends_with_its_owner() {
        let (flag, (drawn, drawings)) = (RedrawFlag::default(), channel());
        let poll = RedrawPoll::start(flag.clone(), Duration::from_millis(1), move || drawn.send(()).unwrap()).unwrap();
        for _ in 0..3 {
            flag.request();
            drawings.recv().unwrap();
            assert!(!flag.take(), "passed on");
        }
        drop(poll);
        // The closure is gone with its thread, and has sent nothing more.
        assert!(drawings.recv().is_err());
        flag.request();
        assert!(flag.take(), "nobody looks any more");
    }
}
