//! The threads of one window, and their end.
//!
//! On Linux the window layer draws every window on a thread of its own, which begins others: the clipboard's, some of the
//! graphics driver's. The layer's way of closing does not always wait for them, and a host that exits while they give
//! their things back takes the driver away from under them. Nobody hands out their handles, but they can be told apart by
//! their name in the kernel, which a thread inherits from the one that begins it. Elsewhere windows have no threads.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// The longest that a window's threads are waited for. They take some 20 ms.
const MAX_WAIT: Duration = Duration::from_secs(2);
/// Between two looks at threads that are about to end: the kernel tells nobody when they do.
const POLL_INTERVAL: Duration = Duration::from_millis(1);

/// The threads of one window.
#[derive(Clone, Debug, Default)]
pub(crate) struct WindowThreads {
    /// Their name: it has the kernel's number of the first of them, which nothing else in this process has, not even
    /// another copy of the plugin.
    name: Arc<OnceLock<String>>,
}

impl WindowThreads {
    /// Counts the calling thread among them, and those that it begins from now on.
    pub(crate) fn include_current(&self) {
        // Without /proc nobody can be told apart.
        let Ok(this) = fs::read_link("/proc/thread-self") else { return };
        let number = this.file_name().unwrap_or_default().to_string_lossy();
        // The kernel keeps 15 bytes of a name, and numbers have up to seven digits.
        let name = self.name.get_or_init(|| format!("vc page {number}"));
        let _ = fs::write("/proc/thread-self/comm", name);
    }

    fn includes(&self, task: &Path) -> bool {
        let named = fs::read_to_string(task.join("comm"));
        named.is_ok_and(|named| self.name.get().is_some_and(|name| named.trim_end() == name))
    }

    /// Those that run now.
    fn running(&self) -> Vec<PathBuf> {
        if self.name.get().is_none() {
            return Vec::new();
        }
        let Ok(tasks) = fs::read_dir("/proc/self/task") else { return Vec::new() };
        tasks.filter_map(|task| Some(task.ok()?.path())).filter(|task| self.includes(task)).collect()
    }

    /// Calls `close`, which ends them, and waits until they have ended, at most two seconds.
    pub(crate) fn end<T>(&self, close: impl FnOnce() -> T) -> T {
        let mut running = self.running();
        let closed = close();
        let begun = Instant::now();
        loop {
            running.retain(|task| self.includes(task));
            if running.is_empty() || begun.elapsed() >= MAX_WAIT {
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
    fn threads_that_a_thread_begins_are_waited_for_too() {
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
        // Nobody joins them.
        threads.end(|| drop(end));
        assert_eq!(threads.running(), Vec::<PathBuf>::new());
    }
}
