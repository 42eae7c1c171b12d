//! Choosing a settings file: the system's window or a typed path, then reading or writing, on a thread of its own each time,
//! so that neither the host's main thread nor the editor's waits for a person or a disk.
//!
//! The window is `rfd`'s: the desktop's portal or `zenity` on Linux, the system's own elsewhere. It is asked to run by
//! itself, without a loop of ours. Where there is none, or the person likes that better, the page takes a path.

use crate::redraw::RedrawFlag;
use crate::settings_file::{read, reason, whole, write};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use voicechain_editor::{Choosing, Filing};

/// A window that is gone within this time without a file was never there: no person is so quick.
const AT_ONCE: Duration = Duration::from_millis(300);
/// What the path of a settings file ends in.
const ENDING: &str = "toml";

/// The folder of the file that was chosen last on any track of this process.
static FOLDER: Mutex<Option<PathBuf>> = Mutex::new(None);

/// What a window for choosing a file is asked for.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    pub(crate) filing: Filing,
    /// Where to begin, and the name to propose.
    pub(crate) path: PathBuf,
}

/// How such a window ended.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Chosen {
    /// With this file; one that is there may be written over.
    File(PathBuf),
    /// Without one.
    Nothing,
    /// The system has no such window.
    NoWindow,
}

/// The window itself; called on a thread of its own.
pub(crate) type Window = Arc<dyn Fn(&Wanted) -> Chosen + Send + Sync>;

fn system(wanted: &Wanted) -> Chosen {
    let begun = Instant::now();
    let folder = wanted.path.parent().unwrap_or(Path::new(""));
    let name = wanted.path.file_name().unwrap_or_default().to_string_lossy();
    let window = rfd::FileDialog::new().add_filter("settings", &[ENDING]).set_directory(folder);
    let chosen = std::panic::catch_unwind(|| match wanted.filing {
        Filing::Open => window.set_title("Open settings").pick_file(),
        Filing::Save => window.set_title("Save settings").set_file_name(name).save_file(),
    });
    match chosen {
        Ok(Some(path)) => Chosen::File(path),
        Ok(None) if begun.elapsed() >= AT_ONCE => Chosen::Nothing,
        Ok(None) | Err(_) => Chosen::NoWindow,
    }
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Outcome {
    /// The settings are in this file.
    Saved(PathBuf),
    /// What stands in this file, to be applied.
    Read(PathBuf, String),
    /// Nothing was chosen.
    Nothing,
    /// A file of this path is there already.
    Taken(String),
    /// Why not.
    Failed(String),
    NoWindow,
}

/// A file that is being chosen.
#[derive(Debug)]
struct Now {
    number: u64,
    filing: Filing,
    /// What is to be written.
    text: String,
    path: String,
    window: bool,
    taken: String,
    /// A typed path is being read or written.
    busy: bool,
}

/// The settings files of one editor.
pub(crate) struct Files {
    window: Window,
    now: Option<Now>,
    /// The number of the request that counts; an older one does nothing more.
    number: Arc<AtomicU64>,
    sender: Sender<(u64, Outcome)>,
    receiver: Receiver<(u64, Outcome)>,
    redraw: RedrawFlag,
}

impl fmt::Debug for Files {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Files").field("now", &self.now).finish_non_exhaustive()
    }
}

impl Files {
    /// Files in the system's window; `redraw` is told when there is something new.
    pub(crate) fn new(redraw: RedrawFlag) -> Self {
        Self::with(Arc::new(system), redraw)
    }

    pub(crate) fn with(window: Window, redraw: RedrawFlag) -> Self {
        let (sender, receiver) = channel();
        Self { window, now: None, number: Arc::default(), sender, receiver, redraw }
    }

    /// What the page shows while a file is being chosen.
    pub(crate) fn choosing(&self) -> Option<Choosing<'_>> {
        self.now.as_ref().map(|now| Choosing {
            filing: now.filing,
            path: &now.path,
            dialog: now.window,
            taken: &now.taken,
        })
    }

    /// Lets a file be chosen; `text` is what is to be written, `name` the track's.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub(crate) fn choose(&mut self, filing: Filing, text: String, name: &str) -> io::Result<()> {
        let path = first_path(name);
        let wanted = Wanted { filing, path: path.clone() };
        let number = self.begin();
        let (counts, window) = (Arc::clone(&self.number), Arc::clone(&self.window));
        let written = text.clone();
        let path = path.to_string_lossy().into();
        self.now = Some(Now { number, filing, text, path, window: true, taken: String::new(), busy: false });
        self.beside(number, move || match window(&wanted) {
            // Given up meanwhile: nothing is written.
            Chosen::File(_) if counts.load(Ordering::Acquire) != number => Outcome::Nothing,
            // The window has asked before it gave a file that is there.
            Chosen::File(path) => handle(filing, path, &written, true),
            Chosen::Nothing => Outcome::Nothing,
            Chosen::NoWindow => Outcome::NoWindow,
        })
    }

    /// Takes a path that was typed. Pressed twice, it counts once: the second would find the file that the first has
    /// just written, and ask whether to replace it.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub(crate) fn typed(&mut self, path: &str, replace: bool) -> io::Result<()> {
        if self.now.as_ref().is_none_or(|now| now.busy) {
            return Ok(());
        }
        let number = self.begin();
        let Some(now) = &mut self.now else { return Ok(()) };
        // What the window may still say no longer counts.
        (now.number, now.path, now.window, now.taken) = (number, path.into(), false, String::new());
        let (filing, text, path) = (now.filing, now.text.clone(), path.trim().to_string());
        let begun = self.beside(number, move || match whole(&path) {
            Some(whole) => match handle(filing, whole, &text, replace) {
                Outcome::Taken(_) => Outcome::Taken(path),
                outcome => outcome,
            },
            None => Outcome::Failed("give the whole path, from its first folder on".into()),
        });
        if let Some(now) = &mut self.now {
            now.busy = begun.is_ok();
        }
        begun
    }

    /// No file after all.
    pub(crate) fn leave(&mut self) {
        self.begin();
        self.now = None;
    }

    /// The editor is closed: a file that is to be saved still is, one that was to be opened is not.
    pub(crate) fn close(&mut self) {
        if self.now.as_ref().is_some_and(|now| now.filing == Filing::Open) {
            self.begin();
        }
        self.now = None;
    }

    /// What came of it, once.
    pub(crate) fn outcome(&mut self) -> Option<Outcome> {
        while let Ok((number, outcome)) = self.receiver.try_recv() {
            let Some(now) = self.now.as_mut().filter(|now| now.number == number) else { continue };
            now.busy = false;
            match &outcome {
                Outcome::Saved(path) | Outcome::Read(path, _) => {
                    let folder = path.parent().map(Path::to_path_buf);
                    *FOLDER.lock().unwrap_or_else(PoisonError::into_inner) = folder;
                    self.now = None;
                }
                Outcome::Nothing => self.now = None,
                Outcome::NoWindow => now.window = false,
                Outcome::Taken(path) => (now.window, now.taken) = (false, path.clone()),
                Outcome::Failed(_) => now.window = false,
            }
            return Some(outcome);
        }
        None
    }

    fn begin(&self) -> u64 {
        self.number.fetch_add(1, Ordering::AcqRel) + 1
    }

    fn beside(&self, number: u64, work: impl FnOnce() -> Outcome + Send + 'static) -> io::Result<()> {
        let (sender, redraw) = (self.sender.clone(), self.redraw.clone());
        let done = move || {
            // Nobody may be there any more.
            let _ = sender.send((number, work()));
            redraw.request();
        };
        std::thread::Builder::new().name("voicechain file".into()).spawn(done).map(|_| ())
    }
}

/// Where to begin: in the folder of the last file or at home, with the track's name.
fn first_path(name: &str) -> PathBuf {
    let last = FOLDER.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let folder = last.or_else(std::env::home_dir).unwrap_or_default();
    let safe = |letter: char| if letter.is_alphanumeric() || " -_".contains(letter) { letter } else { '_' };
    let name: String = name.trim().chars().take(64).map(safe).collect();
    let name = if name.is_empty() { "voice" } else { &name };
    folder.join(format!("{name}.{ENDING}"))
}

/// Opens or saves the file.
fn handle(filing: Filing, path: PathBuf, text: &str, replace: bool) -> Outcome {
    let done = match filing {
        Filing::Open => read(&path).map(|text| Outcome::Read(path.clone(), text)),
        Filing::Save => match write(&path, text, replace) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && !replace => {
                return Outcome::Taken(path.to_string_lossy().into());
            }
            outcome => outcome.map(|()| Outcome::Saved(path.clone())),
        },
    };
    done.unwrap_or_else(|error| Outcome::Failed(reason(filing, &path, &error)))
}

#[cfg(test)]
#[path = "files/tests.rs"]
mod tests;
