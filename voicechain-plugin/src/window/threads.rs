//! Threads of one window, and waiting for their end.
//!
//! On Linux the window layer draws each window on a thread of its own. That thread starts further ones: those of the
//! clipboard and of the graphics driver. Closing the window does not always wait for them. A host that exits while they
//! release their resources unloads the driver they still use. Their handles are not available, but they can be
//! identified by their name in the kernel, which a thread inherits from the thread that starts it. On other systems
//! windows have no threads.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Maximum time to wait for the threads of a window; they typically need 20 ms.
const MAX_WAIT: Duration = Duration::from_secs(2);
/// Poll interval while waiting for threads to end; the kernel sends no notification.
const POLL_INTERVAL: Duration = Duration::from_millis(1);

/// Threads of one window.
#[derive(Clone, Debug, Default)]
pub(crate) struct WindowThreads {
    /// Name of these threads. It contains the kernel's id of the first of them, so it is unique in the process, also
    /// among other copies of the plugin.
    name: Arc<OnceLock<String>>,
}

impl WindowThreads {
    /// Includes the calling thread, and all threads that it starts from now on.
    pub(crate) fn include_current(&self) {
        // Without /proc, threads cannot be identified.
        let Ok(this) = fs::read_link("/proc/thread-self") else { return };
        let number = this.file_name().unwrap_or_default().to_string_lossy();
        // The kernel stores 15 bytes of a name; thread ids have up to seven digits.
        let name = self.name.get_or_init(|| format!("vc page {number}"));
        let _ = fs::write("/proc/thread-self/comm", name);
    }

    fn includes(&self, task: &Path) -> bool {
        let named = fs::read_to_string(task.join("comm"));
        named.is_ok_and(|named| self.name.get().is_some_and(|name| named.trim_end() == name))
    }

    /// Paths of the threads that are running.
    fn running(&self) -> Vec<PathBuf> {
        if self.name.get().is_none() {
            return Vec::new();
        }
        let Ok(tasks) = fs::read_dir("/proc/self/task") else { return Vec::new() };
        tasks.filter_map(|task| Some(task.ok()?.path())).filter(|task| self.includes(task)).collect()
    }

    /// Calls `close`, which ends the threads, and waits until they have ended, for at most two seconds.
    pub(crate) fn end<T>(&self, close: impl FnOnce() -> T) -> T {
        let mut running = self.running();
        let closed = close();
        let start = Instant::now();
        loop {
            running.retain(|task| self.includes(task));
            if running.is_empty() || start.elapsed() >= MAX_WAIT {
                return closed;
            }
            sleep(POLL_INTERVAL);
        }
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    #[test]
    fn threads_started_by_a_thread_are_waited_for_too() {
        let (threads, (ready, all)) = (WindowThreads::default(), channel());
        let others = WindowThreads::default();
        others.include_current();
        let (end, ending) = channel::<()>();
        let of_the_window = threads.clone();
        std::thread::spawn(move || {
            of_the_window.include_current();
            std::thread::spawn(move || {
                ready.send(()).unwrap();
                let _ = ending.recv();
            });
        });
        all.recv().unwrap();
        assert!(!threads.running().is_empty());
        assert_eq!(others.running().len(), 1, "this one");
        // They are not joined.
        threads.end(|| drop(end));
        assert_eq!(threads.running(), Vec::<PathBuf>::new());
    }
}
