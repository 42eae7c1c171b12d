//! Reading and writing of settings files.

use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use voicechain_editor::FileOperation;

/// Absolute path from a typed path, which may begin with `~/`; `None` for any other.
pub(crate) fn absolute_path(path: &str) -> Option<PathBuf> {
    let path = match path.strip_prefix("~/") {
        Some(rest) => std::env::home_dir()?.join(rest),
        None => PathBuf::from(path),
    };
    (path.is_absolute() && path.file_name().is_some()).then_some(path)
}

/// Reads at most one byte more than a settings text may have, so that the parser can report that it is too long.
pub(crate) fn read(path: &Path) -> io::Result<String> {
    let mut bytes = Vec::new();
    fs::File::open(path)?.take(voicechain_text::MAX_BYTES as u64 + 1).read_to_end(&mut bytes)?;
    // Invalid UTF-8 is replaced; the parser then refuses the text.
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Writes a settings file. To replace one, it writes a temporary file beside it first, so that the old file stays
/// intact until the new one is complete.
pub(crate) fn write(path: &Path, text: &str, replace: bool) -> io::Result<()> {
    if !replace {
        // Fails if the file exists, even if it was created in the meantime.
        return fs::File::create_new(path)?.write_all(text.as_bytes());
    }
    // The target of a symbolic link is replaced, not the link.
    let path = fs::canonicalize(path).unwrap_or_else(|_| path.into());
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let written = fs::File::create_new(&part).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()
    });
    let placed = match written {
        // A file may be writable in a folder that is not.
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied && path.is_file() => fs::write(&path, text),
        written => written.and_then(|()| fs::rename(&part, &path)),
    };
    if placed.is_err() {
        let _ = fs::remove_file(&part);
    }
    placed
}

/// Error text for a file that cannot be read or written.
pub(crate) fn reason(operation: FileOperation, path: &Path, error: &io::Error) -> String {
    use io::ErrorKind;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let folder = path.parent().unwrap_or(path).to_string_lossy();
    let why = match (error.kind(), operation) {
        (ErrorKind::NotFound, FileOperation::Open) => return format!("there is no file {name} in {folder}"),
        (ErrorKind::NotFound | ErrorKind::NotADirectory, FileOperation::Save) => {
            return format!("there is no folder {folder}");
        }
        (ErrorKind::PermissionDenied, _) => "permission denied".to_string(),
        (ErrorKind::IsADirectory, _) => "it is a folder".to_string(),
        (ErrorKind::StorageFull, _) => "the disk is full".to_string(),
        _ => error.to_string(),
    };
    let done = if operation == FileOperation::Open { "read" } else { "written" };
    format!("{name} cannot be {done}: {why}")
}
