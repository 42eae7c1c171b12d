//! Opening and saving of settings files, through the system's file dialog or a typed path.
//!
//! Dialog, reading and writing run on a thread of their own for each request, so that neither the host's main thread
//! nor the editor's thread waits for the user or the disk. The dialog is that of the `rfd` library: the desktop portal
//! or `zenity` on Linux, the system's own elsewhere. It needs no event loop of the plugin. A path can be typed on the
//! page instead, also where the system has no dialog.

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

/// A dialog that ends within this time without a file counts as unavailable; no user is that fast.
const DIALOG_MISSING_WITHIN: Duration = Duration::from_millis(300);
/// File name extension of settings files.
const EXTENSION: &str = "toml";

/// Folder of the last chosen file, shared by all instances in this process.
static FOLDER: Mutex<Option<PathBuf>> = Mutex::new(None);

/// Request for a file dialog.
#[derive(Clone, Debug)]
pub(crate) struct DialogRequest {
    pub(crate) operation: FileOperation,
    /// Initial folder and proposed file name.
    pub(crate) path: PathBuf,
}

/// Result of a file dialog.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum DialogResult {
    /// The chosen file; it may be overwritten if it exists.
    File(PathBuf),
    /// No file was chosen.
    Cancelled,
    /// The system has no file dialog.
    Unavailable,
}

/// Shows the file dialog and returns when it closes; called on a thread of its own.
pub(crate) type ShowDialog = Arc<dyn Fn(&DialogRequest) -> DialogResult + Send + Sync>;

/// Shows the system's file dialog.
fn system(request: &DialogRequest) -> DialogResult {
    let begun = Instant::now();
    let folder = request.path.parent().unwrap_or(Path::new(""));
    let name = request.path.file_name().unwrap_or_default().to_string_lossy();
    let dialog = rfd::FileDialog::new().add_filter("settings", &[EXTENSION]).set_directory(folder);
    let chosen = std::panic::catch_unwind(|| match request.operation {
        FileOperation::Open => dialog.set_title("Open settings").pick_file(),
        FileOperation::Save => dialog.set_title("Save settings").set_file_name(name).save_file(),
    });
    match chosen {
        Ok(Some(path)) => DialogResult::File(path),
        Ok(None) if begun.elapsed() >= DIALOG_MISSING_WITHIN => DialogResult::Cancelled,
        Ok(None) | Err(_) => DialogResult::Unavailable,
    }
}

/// Outcome of opening or saving a file.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Outcome {
    /// The settings were written to this file.
    Saved(PathBuf),
    /// Path and text of the file that was read.
    Read(PathBuf, String),
    /// No file was chosen.
    Cancelled,
    /// A file with this path already exists.
    AlreadyExists(String),
    /// Reason of a failure.
    Failed(String),
    /// The system has no file dialog.
    DialogUnavailable,
}

/// File that is being chosen.
#[derive(Debug)]
struct PendingFile {
    number: u64,
    operation: FileOperation,
    /// Text to write.
    text: String,
    path: String,
    /// Whether the system's dialog is open.
    dialog_open: bool,
    existing_path: String,
    /// Whether a typed path is being read or written.
    busy: bool,
}

/// Opens and saves the settings files of one editor.
pub(crate) struct Files {
    show_dialog: ShowDialog,
    pending: Option<PendingFile>,
    /// Number of the current request; older ones have no further effect.
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
    /// With the system's file dialog; `redraw` is requested when an outcome is available.
    pub(crate) fn new(redraw: RedrawFlag) -> Self {
        Self::with(Arc::new(system), redraw)
    }

    pub(crate) fn with(show_dialog: ShowDialog, redraw: RedrawFlag) -> Self {
        let (sender, receiver) = channel();
        Self { show_dialog, pending: None, number: Arc::default(), sender, receiver, redraw }
    }

    /// State of the choice for the page; `None` while no file is being chosen.
    pub(crate) fn file_dialog(&self) -> Option<FileDialog<'_>> {
        self.pending.as_ref().map(|pending| FileDialog {
            operation: pending.operation,
            path: &pending.path,
            system_dialog: pending.dialog_open,
            existing_path: &pending.existing_path,
        })
    }

    /// Starts the choice of a file. `text` is the text to write, `name` the name of the track.
    ///
    /// # Errors
    /// If the system cannot start a thread.
    pub(crate) fn choose(&mut self, operation: FileOperation, text: String, name: &str) -> io::Result<()> {
        let path = initial_path(name);
        let request = DialogRequest { operation, path: path.clone() };
        let number = self.next_request();
        let (current, show_dialog) = (Arc::clone(&self.number), Arc::clone(&self.show_dialog));
        let written = text.clone();
        let path = path.to_string_lossy().into();
        self.pending = Some(PendingFile {
            number,
            operation,
            text,
            path,
            dialog_open: true,
            existing_path: String::new(),
            busy: false,
        });
        self.spawn(number, move || match show_dialog(&request) {
            // The request was cancelled in the meantime: nothing is written.
            DialogResult::File(_) if current.load(Ordering::Acquire) != number => Outcome::Cancelled,
            // The dialog has already asked whether to replace an existing file.
            DialogResult::File(path) => open_or_save(operation, path, &written, true),
            DialogResult::Cancelled => Outcome::Cancelled,
            DialogResult::Unavailable => Outcome::DialogUnavailable,
        })
    }

    /// Opens or saves at a typed path. While one path is being handled, further calls have no effect: a second save
    /// would find the file that the first has just written, and ask whether to replace it.
    ///
    /// # Errors
    /// If the system cannot start a thread.
    pub(crate) fn typed(&mut self, path: &str, replace: bool) -> io::Result<()> {
        if self.pending.as_ref().is_none_or(|pending| pending.busy) {
            return Ok(());
        }
        let number = self.next_request();
        let Some(pending) = &mut self.pending else { return Ok(()) };
        // A later result of the dialog is ignored.
        (pending.number, pending.path, pending.dialog_open, pending.existing_path) =
            (number, path.into(), false, String::new());
        let (operation, text, path) = (pending.operation, pending.text.clone(), path.trim().to_string());
        let started = self.spawn(number, move || match absolute_path(&path) {
            Some(absolute_path) => match open_or_save(operation, absolute_path, &text, replace) {
                Outcome::AlreadyExists(_) => Outcome::AlreadyExists(path),
                outcome => outcome,
            },
            None => Outcome::Failed("give the whole path, from the root folder on".into()),
        });
        if let Some(pending) = &mut self.pending {
            pending.busy = started.is_ok();
        }
        started
    }

    /// Cancels the choice.
    pub(crate) fn cancel(&mut self) {
        self.next_request();
        self.pending = None;
    }

    /// Called when the editor closes: a pending save is completed, a pending open is cancelled.
    pub(crate) fn close(&mut self) {
        if self.pending.as_ref().is_some_and(|pending| pending.operation == FileOperation::Open) {
            self.next_request();
        }
        self.pending = None;
    }

    /// Next outcome of the current request, each returned once.
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
                Outcome::DialogUnavailable => pending.dialog_open = false,
                Outcome::AlreadyExists(path) => (pending.dialog_open, pending.existing_path) = (false, path.clone()),
                Outcome::Failed(_) => pending.dialog_open = false,
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
            // The receiver may have been dropped.
            let _ = sender.send((number, work()));
            redraw.request();
        };
        std::thread::Builder::new().name("voicechain file".into()).spawn(done).map(|_| ())
    }
}

/// Initial path: in the folder of the last file or the home folder, with the name of the track.
fn initial_path(name: &str) -> PathBuf {
    let last = FOLDER.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let folder = last.or_else(std::env::home_dir).unwrap_or_default();
    let safe = |letter: char| if letter.is_alphanumeric() || " -_".contains(letter) { letter } else { '_' };
    let name: String = name.trim().chars().take(64).map(safe).collect();
    let name = if name.is_empty() { "voice" } else { &name };
    folder.join(format!("{name}.{EXTENSION}"))
}

/// Reads or writes the file.
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
