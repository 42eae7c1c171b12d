//! Choosing a settings file: the system's window or a typed path, then reading or writing, on a thread of its own each time,
//! so that neither the host's main thread nor the editor's waits for a person or a disk.
//!
//! The window is `rfd`'s: the desktop's portal or `zenity` on Linux, the system's own elsewhere. It is asked to run by
//! itself, without a loop of ours. Where there is none, or the person likes that better, the page takes a path.

use crate::redraw::RedrawFlag;
use crate::settings_file::{absolute_path, read, reason, write};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use voicechain_editor::{FileDialog, FileOperation};

/// A window that is gone within this time without a file was never there: no person is so quick.
const DIALOG_MISSING_WITHIN: Duration = Duration::from_millis(300);
/// What the path of a settings file ends in.
const EXTENSION: &str = "toml";

/// The folder of the file that was chosen last on any track of this process.
static FOLDER: Mutex<Option<PathBuf>> = Mutex::new(None);

/// What a window for choosing a file is asked for.
#[derive(Clone, Debug)]
pub(crate) struct DialogRequest {
    pub(crate) operation: FileOperation,
    /// Where to begin, and the name to propose.
    pub(crate) path: PathBuf,
}

/// How such a window ended.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum DialogResult {
    /// With this file; one that is there may be written over.
    File(PathBuf),
    /// Without one.
    Cancelled,
    /// The system has no such window.
    Unavailable,
}

/// The window itself; called on a thread of its own.
pub(crate) type ShowDialog = Arc<dyn Fn(&DialogRequest) -> DialogResult + Send + Sync>;

fn system(request: &DialogRequest) -> DialogResult {
    let begun = Instant::now();
    let folder = request.path.parent().unwrap_or(Path::new(""));
    let name = request.path.file_name().unwrap_or_default().to_string_lossy();
    let window = rfd::FileDialog::new().add_filter("settings", &[EXTENSION]).set_directory(folder);
    let chosen = std::panic::catch_unwind(|| match request.operation {
        FileOperation::Open => window.set_title("Open settings").pick_file(),
        FileOperation::Save => window.set_title("Save settings").set_file_name(name).save_file(),
    });
    match chosen {
        Ok(Some(path)) => DialogResult::File(path),
        Ok(None) if begun.elapsed() >= DIALOG_MISSING_WITHIN => DialogResult::Cancelled,
        Ok(None) | Err(_) => DialogResult::Unavailable,
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
    Cancelled,
    /// A file of this path is there already.
    AlreadyExists(String),
    /// Why not.
    Failed(String),
    DialogUnavailable,
}

/// A file that is being chosen.
#[derive(Debug)]
struct PendingFile {
    number: u64,
    operation: FileOperation,
    /// What is to be written.
    text: String,
    path: String,
    window: bool,
    existing_path: String,
    /// A typed path is being read or written.
    busy: bool,
}

/// The settings files of one editor.
pub(crate) struct Files {
    window: ShowDialog,
    pending: Option<PendingFile>,
    /// The number of the request that counts; an older one does nothing more.
    number: Arc<AtomicU64>,
    sender: Sender<(u64, Outcome)>,
    receiver: Receiver<(u64, Outcome)>,
    redraw: RedrawFlag,
}

impl fmt::Debug for Files {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Files").field("now", &self.pending).finish_non_exhaustive()
    }
}

impl Files {
    /// Files in the system's window; `redraw` is told when there is something new.
    pub(crate) fn new(redraw: RedrawFlag) -> Self {
        Self::with(Arc::new(system), redraw)
    }

    pub(crate) fn with(window: ShowDialog, redraw: RedrawFlag) -> Self {
        let (sender, receiver) = channel();
        Self { window, pending: None, number: Arc::default(), sender, receiver, redraw }
    }

    /// What the page shows while a file is being chosen.
    pub(crate) fn file_dialog(&self) -> Option<FileDialog<'_>> {
        self.pending.as_ref().map(|pending| FileDialog {
            operation: pending.operation,
            path: &pending.path,
            system_dialog: pending.window,
            existing_path: &pending.existing_path,
        })
    }

    /// Lets a file be chosen; `text` is what is to be written, `name` the track's.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub(crate) fn choose(&mut self, operation: FileOperation, text: String, name: &str) -> io::Result<()> {
        let path = first_path(name);
        let request = DialogRequest { operation, path: path.clone() };
        let number = self.next_request();
        let (counts, window) = (Arc::clone(&self.number), Arc::clone(&self.window));
        let written = text.clone();
        let path = path.to_string_lossy().into();
        self.pending = Some(PendingFile {
            number,
            operation,
            text,
            path,
            window: true,
            existing_path: String::new(),
            busy: false,
        });
        self.spawn(number, move || match window(&request) {
            // Given up meanwhile: nothing is written.
            DialogResult::File(_) if counts.load(Ordering::Acquire) != number => Outcome::Cancelled,
            // The window has asked before it gave a file that is there.
            DialogResult::File(path) => open_or_save(operation, path, &written, true),
            DialogResult::Cancelled => Outcome::Cancelled,
            DialogResult::Unavailable => Outcome::DialogUnavailable,
        })
    }

    /// Takes a path that was typed. Pressed twice, it counts once: the second would find the file that the first has
    /// just written, and ask whether to replace it.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub(crate) fn typed(&mut self, path: &str, replace: bool) -> io::Result<()> {
        if self.pending.as_ref().is_none_or(|pending| pending.busy) {
            return Ok(());
        }
        let number = self.next_request();
        let Some(pending) = &mut self.pending else { return Ok(()) };
        // What the window may still say no longer counts.
        (pending.number, pending.path, pending.window, pending.existing_path) =
            (number, path.into(), false, String::new());
        let (operation, text, path) = (pending.operation, pending.text.clone(), path.trim().to_string());
        let begun = self.spawn(number, move || match absolute_path(&path) {
            Some(absolute_path) => match open_or_save(operation, absolute_path, &text, replace) {
                Outcome::AlreadyExists(_) => Outcome::AlreadyExists(path),
                outcome => outcome,
            },
            None => Outcome::Failed("give the whole path, from its first folder on".into()),
        });
        if let Some(pending) = &mut self.pending {
            pending.busy = begun.is_ok();
        }
        begun
    }

    /// No file after all.
    pub(crate) fn cancel(&mut self) {
        self.next_request();
        self.pending = None;
    }

    /// The editor is closed: a file that is to be saved still is, one that was to be opened is not.
    pub(crate) fn close(&mut self) {
        if self.pending.as_ref().is_some_and(|pending| pending.operation == FileOperation::Open) {
            self.next_request();
        }
        self.pending = None;
    }

    /// What came of it, once.
    pub(crate) fn outcome(&mut self) -> Option<Outcome> {
        while let Ok((number, outcome)) = self.receiver.try_recv() {
            let Some(pending) = self.pending.as_mut().filter(|pending| pending.number == number) else { continue };
            pending.busy = false;
            match &outcome {
                Outcome::Saved(path) | Outcome::Read(path, _) => {
                    let folder = path.parent().map(Path::to_path_buf);
                    *FOLDER.lock().unwrap_or_else(PoisonError::into_inner) = folder;
                    self.pending = None;
                }
                Outcome::Cancelled => self.pending = None,
                Outcome::DialogUnavailable => pending.window = false,
                Outcome::AlreadyExists(path) => (pending.window, pending.existing_path) = (false, path.clone()),
                Outcome::Failed(_) => pending.window = false,
            }
            return Some(outcome);
        }
        None
    }

    fn next_request(&self) -> u64 {
        self.number.fetch_add(1, Ordering::AcqRel) + 1
    }

    fn spawn(&self, number: u64, work: impl FnOnce() -> Outcome + Send + 'static) -> io::Result<()> {
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
    folder.join(format!("{name}.{EXTENSION}"))
}

/// Opens or saves the file.
fn open_or_save(operation: FileOperation, path: PathBuf, text: &str, replace: bool) -> Outcome {
    let done = match operation {
        FileOperation::Open => read(&path).map(|text| Outcome::Read(path.clone(), text)),
        FileOperation::Save => match write(&path, text, replace) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && !replace => {
                return Outcome::AlreadyExists(path.to_string_lossy().into());
            }
            outcome => outcome.map(|()| Outcome::Saved(path.clone())),
        },
    };
    done.unwrap_or_else(|error| Outcome::Failed(reason(operation, &path, &error)))
}

#[cfg(test)]
#[path = "files/tests.rs"]
mod tests;
