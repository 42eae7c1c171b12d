//! Error type of the example programs: one line with the place, the problem and the remedy.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Kind of a [`JobError`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum JobErrorKind {
    /// Nothing exists at the path.
    Missing,
    /// The path is a folder where a file is needed.
    IsFolder,
    /// The file has zero bytes.
    EmptyFile,
    /// The file is damaged, not audio, or in an unsupported format.
    NotAudio,
    /// The audio file has zero frames or is silent throughout.
    NoSound,
    /// The sample rate is outside 8 to 192 kHz.
    Rate,
    /// The file has no channel or more than two.
    Channels,
    /// Reading failed, or the audio format changes within the file.
    Read,
    /// The output is too long for its file format.
    TooLong,
    /// The disk is full.
    DiskFull,
    /// A file or folder cannot be written.
    Unwritable,
    /// The output would overwrite a file that this program did not write.
    WouldOverwrite,
    /// The command line or a settings file is invalid.
    Usage,
    /// The user stopped the job.
    Stopped,
}

/// Error that stops a job, shown as one line: where, what is wrong, what to do.
///
/// ```
/// use voicechain_examples::{JobError, JobErrorKind};
/// let error = JobError::new(JobErrorKind::EmptyFile, "the file is empty (0 bytes)", "export the recording again");
/// let line = error.at("anna.wav").to_string();
/// assert_eq!(line, "anna.wav: the file is empty (0 bytes); export the recording again");
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobError {
    error_kind: JobErrorKind,
    path: Option<PathBuf>,
    what: String,
    advice: String,
}

impl JobError {
    /// An error with the problem and the advice.
    pub fn new(error_kind: JobErrorKind, what: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { error_kind, path: None, what: what.into(), advice: advice.into() }
    }

    /// Adds the file or folder that the error concerns.
    #[must_use]
    pub fn at(mut self, path: impl Into<PathBuf>) -> Self {
        self.path = Some(path.into());
        self
    }

    /// Kind of the error.
    pub fn error_kind(&self) -> JobErrorKind {
        self.error_kind
    }

    /// File or folder that the error concerns, if any.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// The problem.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What to do about the problem.
    pub fn advice(&self) -> &str {
        &self.advice
    }

    /// Error of a failed write, creation or rename of `path`.
    pub fn writing(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::new(
                JobErrorKind::DiskFull,
                "the disk is full",
                "free some space or choose another folder, then run again",
            ),
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written (permission denied)",
                "choose a folder with write permission",
            ),
            io::ErrorKind::NotFound => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written: its folder does not exist",
                "create the folder or choose another",
            ),
            io::ErrorKind::NotADirectory => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written: part of its path is a file, not a folder",
                "choose another folder",
            ),
            io::ErrorKind::IsADirectory => {
                Self::new(JobErrorKind::Unwritable, "cannot be written: a folder has this name", "choose another name")
            }
            io::ErrorKind::FileTooLarge => Self::new(
                JobErrorKind::TooLong,
                "cannot be written: the file exceeds the size limit of this disk or account",
                "choose another disk or a smaller sample format",
            ),
            _ => Self::new(
                JobErrorKind::Unwritable,
                format!("cannot be written ({})", without_error_number(error)),
                "check the disk and the folder, then run again",
            ),
        }
        .at(path)
    }

    /// Error of a failed opening of `path` for reading.
    pub fn opening(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
                Self::new(JobErrorKind::Missing, "no such file", "check the path")
            }
            io::ErrorKind::PermissionDenied => {
                Self::new(JobErrorKind::Read, "cannot be read (permission denied)", "change its permissions")
            }
            io::ErrorKind::IsADirectory => {
                Self::new(JobErrorKind::IsFolder, "this is a folder", "name a file inside it")
            }
            _ => Self::new(
                JobErrorKind::Read,
                format!("cannot be read ({})", without_error_number(error)),
                "check the disk, or use another copy of the file",
            ),
        }
        .at(path)
    }
}

/// The system's error text without its number.
pub(crate) fn without_error_number(error: &io::Error) -> String {
    let text = error.to_string();
    match text.find(" (os error") {
        Some(end) => text[..end].to_lowercase(),
        None => text,
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut line = String::new();
        if let Some(path) = &self.path {
            line.push_str(&path.display().to_string());
            line.push_str(": ");
        }
        line.push_str(&self.what);
        if !self.advice.is_empty() {
            line.push_str("; ");
            line.push_str(&self.advice);
        }
        // File names may contain anything: control characters are escaped, so the error stays one line.
        for character in line.chars() {
            if character.is_control() {
                write!(f, "{}", character.escape_default())?;
            } else {
                write!(f, "{character}")?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for JobError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_with_path_message_and_advice() {
        let error =
            JobError::new(JobErrorKind::Rate, "the sample rate is 4000 Hz", "use 8 to 192 kHz").at("a\nb\u{1b}.wav");
        let line = error.to_string();
        assert_eq!(line, "a\\nb\\u{1b}.wav: the sample rate is 4000 Hz; use 8 to 192 kHz");
        assert_eq!(error.error_kind(), JobErrorKind::Rate);
        assert_eq!(error.path(), Some(Path::new("a\nb\u{1b}.wav")));
    }

    #[test]
    fn system_errors_have_no_error_number() {
        let full = JobError::writing(Path::new("mix.wav"), &io::Error::from(io::ErrorKind::StorageFull));
        assert_eq!(full.error_kind(), JobErrorKind::DiskFull);
        assert!(full.to_string().starts_with("mix.wav: the disk is full; "), "{full}");
        let denied = JobError::writing(Path::new("mix.wav"), &io::Error::from(io::ErrorKind::PermissionDenied));
        assert_eq!(denied.error_kind(), JobErrorKind::Unwritable);
        // 5 is EIO on every system with errno.
        let broken = JobError::opening(Path::new("x.wav"), &io::Error::from_raw_os_error(5));
        assert!(!broken.to_string().contains("os error"), "{broken}");
    }
}
