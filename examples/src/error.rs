//! The one error of the example programs: a single line that says what is wrong, where, and what to do about it.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// What kind of trouble stopped the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum JobErrorKind {
    /// There is nothing at the path.
    Missing,
    /// The path is a folder where a file is needed.
    IsFolder,
    /// The file has zero bytes.
    EmptyFile,
    /// The file is damaged, or no audio at all, or of a kind that is not read.
    NotAudio,
    /// The file is an audio file that holds no sound: zero frames, or silence throughout.
    NoSound,
    /// The sample rate is outside 8 to 192 kHz.
    Rate,
    /// There are more channels than two, or none.
    Channels,
    /// Reading broke off, or the format changed on the way.
    Read,
    /// The output would not fit into its format.
    TooLong,
    /// The disk is full.
    DiskFull,
    /// A file or folder cannot be written.
    Unwritable,
    /// Something of another owner is in the way.
    WouldOverwrite,
    /// The command line, or a settings file, asks for something impossible.
    Usage,
    /// The person stopped the job.
    Stopped,
}

/// Why a job cannot go on, in one line: where, what, and what to do.
///
/// ```
/// use voicechain_examples::{JobError, JobErrorKind};
/// let error = JobError::new(JobErrorKind::EmptyFile, "the file is empty (0 bytes)", "export the recording again").at("anna.wav");
/// assert_eq!(error.to_string(), "anna.wav: the file is empty (0 bytes); export the recording again");
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobError {
    error_kind: JobErrorKind,
    path: Option<PathBuf>,
    what: String,
    advice: String,
}

impl JobError {
    /// An error from what is wrong and what the person can do about it.
    pub fn new(error_kind: JobErrorKind, what: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { error_kind, path: None, what: what.into(), advice: advice.into() }
    }

    /// The same error with the file or folder that it is about.
    #[must_use]
    pub fn at(mut self, path: impl Into<PathBuf>) -> Self {
        self.path = Some(path.into());
        self
    }

    /// What kind of trouble it is.
    pub fn error_kind(&self) -> JobErrorKind {
        self.error_kind
    }

    /// The file or folder that it is about, where there is one.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// What is wrong.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What to do about it.
    pub fn advice(&self) -> &str {
        &self.advice
    }

    /// A failed write, creation or rename of `path`.
    pub fn writing(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::new(
                JobErrorKind::DiskFull,
                "the disk is full",
                "free some space or choose another folder, then start again",
            ),
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written (no permission)",
                "choose a folder that you may write to",
            ),
            io::ErrorKind::NotFound => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written: its folder does not exist",
                "create the folder or choose another",
            ),
            io::ErrorKind::NotADirectory => Self::new(
                JobErrorKind::Unwritable,
                "cannot be written: a part of its path is a file, not a folder",
                "choose another folder",
            ),
            io::ErrorKind::IsADirectory => {
                Self::new(JobErrorKind::Unwritable, "cannot be written: a folder has this name", "choose another name")
            }
            io::ErrorKind::FileTooLarge => Self::new(
                JobErrorKind::TooLong,
                "cannot be written: the file is larger than this disk or account allows",
                "choose another disk, or a smaller format",
            ),
            _ => Self::new(
                JobErrorKind::Unwritable,
                format!("cannot be written ({})", without_error_number(error)),
                "check the disk and the folder, then start again",
            ),
        }
        .at(path)
    }

    /// A failed opening of `path` for reading.
    pub fn opening(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
                Self::new(JobErrorKind::Missing, "there is no such file", "check the name")
            }
            io::ErrorKind::PermissionDenied => {
                Self::new(JobErrorKind::Read, "may not be read (no permission)", "change its permissions or copy it")
            }
            io::ErrorKind::IsADirectory => {
                Self::new(JobErrorKind::IsFolder, "this is a folder", "name one audio file inside it")
            }
            _ => Self::new(
                JobErrorKind::Read,
                format!("cannot be read ({})", without_error_number(error)),
                "check the disk, or copy the file",
            ),
        }
        .at(path)
    }
}

/// The system's words without the error number.
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
        // A name may hold anything: the line stays a line, and the terminal is sent no control characters.
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
    fn system_errors_become_plain_words() {
        let full = JobError::writing(Path::new("mix.wav"), &io::Error::from(io::ErrorKind::StorageFull));
        assert_eq!(full.error_kind(), JobErrorKind::DiskFull);
        assert!(full.to_string().starts_with("mix.wav: the disk is full; "), "{full}");
        let denied = JobError::writing(Path::new("mix.wav"), &io::Error::from(io::ErrorKind::PermissionDenied));
        assert_eq!(denied.error_kind(), JobErrorKind::Unwritable);
        // 5 is EIO everywhere that has errno: the number itself says nothing to a person.
        let broken = JobError::opening(Path::new("x.wav"), &io::Error::from_raw_os_error(5));
        assert!(!broken.to_string().contains("os error"), "{broken}");
    }
}
