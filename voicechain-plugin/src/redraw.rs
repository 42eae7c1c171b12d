//! Redraw requests for an open window.
//!
//! Any thread requests a redraw by setting a flag, without waiting; the audio thread does so too. While a window is
//! open, a thread of its own polls the flag and calls the window layer, which takes a lock and wakes the window's
//! thread.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

/// Flag that requests a redraw.
#[derive(Clone, Debug, Default)]
pub struct RedrawFlag(Arc<AtomicBool>);

impl RedrawFlag {
    /// Requests a redraw. Does not allocate, lock or wait.
    pub fn request(&self) {
        self.0.store(true, Ordering::Release);
    }

    fn take(&self) -> bool {
        self.0.swap(false, Ordering::Acquire)
    }
}

/// Thread that polls a redraw flag; it ends when this is dropped.
#[derive(Debug)]
pub(crate) struct RedrawPoll {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl RedrawPoll {
    /// Polls `flag` at the interval `every` and calls `redraw` when it is set.
    ///
    /// # Errors
    /// If the system cannot start a thread.
    pub(crate) fn start(flag: RedrawFlag, every: Duration, redraw: impl Fn() + Send + 'static) -> io::Result<Self> {
        let (stop, stopped) = channel();
        let poll = move || {
            while stopped.recv_timeout(every) == Err(RecvTimeoutError::Timeout) {
                if flag.take() {
                    redraw();
                }
            }
        };
        let thread = Builder::new().name("vc redraw".into()).spawn(poll)?;
        Ok(Self { stop: Some(stop), thread: Some(thread) })
    }
}

impl Drop for RedrawPoll {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            // It panics only if `redraw` panics.
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_is_passed_on_once_and_the_thread_ends_with_its_owner() {
        let (flag, (drawn, drawings)) = (RedrawFlag::default(), channel());
        let poll = RedrawPoll::start(flag.clone(), Duration::from_millis(1), move || drawn.send(()).unwrap()).unwrap();
        for _ in 0..3 {
            flag.request();
            drawings.recv().unwrap();
            assert!(!flag.take(), "passed on");
        }
        drop(poll);
        // The closure was dropped with its thread and has sent nothing more.
        assert!(drawings.recv().is_err());
        flag.request();
        assert!(flag.take(), "the thread no longer polls");
    }
}
