//! Output folder of a job: it protects files of other origin and leaves no partial output behind.

use crate::error::{JobError, JobErrorKind};
use crate::report::data::Report;
use crate::wav_file::PendingFile;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The file by which a job recognises its own earlier output.
const REPORT: &str = "report.json";

/// Output folder of a job.
#[derive(Debug)]
pub struct OutputFolder {
    path: PathBuf,
    /// Folders created for this job, innermost first.
    created: Vec<PathBuf>,
    /// Files of an earlier run of the same program.
    previous_files: Vec<String>,
    /// Option of the program that names the folder, for advice.
    option: &'static str,
    /// Whether other files may be replaced; `None` for a program that never replaces any.
    force: Option<bool>,
    done: bool,
}

impl OutputFolder {
    /// Opens or creates the folder that the program's `option` names. Earlier output of this program, recognised by its
    /// `report.json`, may be replaced; other files only with `force`, the program's option `--force`.
    ///
    /// # Errors
    /// A file has the folder's name, or the folder cannot be created or written.
    pub fn open(path: &Path, option: &'static str, force: bool) -> Result<Self, JobError> {
        let mut folder = Self::open_without_overwriting(path, option)?;
        folder.force = Some(force);
        let earlier = fs::read_to_string(path.join(REPORT)).ok().and_then(|text| Report::from_json(&text).ok());
        if let Some(report) = earlier {
            folder.previous_files = report.files.into_iter().map(|f| f.name).filter(|name| is_output(name)).collect();
        }
        Ok(folder)
    }

    /// Opens or creates the folder that the program's `option` names to add files; existing files are never replaced.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn open_without_overwriting(path: &Path, option: &'static str) -> Result<Self, JobError> {
        let missing = |at: &&Path| !at.as_os_str().is_empty() && !at.exists();
        let created: Vec<PathBuf> = path.ancestors().take_while(missing).map(Path::to_owned).collect();
        if created.is_empty() && !path.is_dir() {
            return Err(JobError::new(
                JobErrorKind::WouldOverwrite,
                "the output folder cannot be created: a file has its name",
                "choose another folder",
            )
            .at(path));
        }
        let folder =
            Self { path: path.to_owned(), created, previous_files: Vec::new(), option, force: None, done: false };
        fs::create_dir_all(path).map_err(|e| JobError::writing(path, &e))?;
        // Detects an unwritable folder before the work, not after it.
        tempfile::tempfile_in(path).map_err(|e| JobError::writing(path, &e))?;
        Ok(folder)
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Checks that files of these names may be written. `force` does not permit overwriting any of the `inputs`.
    ///
    /// # Errors
    /// A file of that name is an input of the job, is a folder, or was not written by this program.
    pub fn check_overwrite(&mut self, names: &[String], inputs: &[PathBuf]) -> Result<(), JobError> {
        let inputs: Vec<PathBuf> = inputs.iter().filter_map(|input| input.canonicalize().ok()).collect();
        let is_input = |path: &Path| path.canonicalize().is_ok_and(|real| inputs.contains(&real));
        let another = format!("choose another folder with {}", self.option);
        let not_ours = match self.force {
            Some(_) => {
                ("this file is not from an earlier run and would be overwritten", format!("{another}, or use --force"))
            }
            None => ("this file exists and would be overwritten", format!("{another}, or delete the file")),
        };
        for name in names {
            let path = self.path.join(name);
            let refuse =
                |what: &str, advice: &str| Err(JobError::new(JobErrorKind::WouldOverwrite, what, advice).at(&path));
            if is_input(&path) {
                return refuse("this input recording would be overwritten by the output", &another);
            }
            if path.is_dir() {
                return refuse("a folder has the name of this output file", &another);
            }
            let ours = self.previous_files.contains(name) || (name == REPORT && !self.previous_files.is_empty());
            if path.symlink_metadata().is_ok() && !ours && self.force != Some(true) {
                return refuse(not_ours.0, &not_ours.1);
            }
        }
        // Output of an earlier run that is input of this one is kept.
        self.previous_files.retain(|name| !is_input(&self.path.join(name)));
        Ok(())
    }

    /// Writes a small file under a temporary name, to be renamed later.
    ///
    /// # Errors
    /// The disk is full, or permission is denied.
    pub fn write_pending(&self, name: &str, text: &str) -> Result<PendingFile, JobError> {
        write_pending(self.path.join(name), text)
    }

    /// Renames all files to their final names and removes stale files of the earlier run.
    ///
    /// # Errors
    /// A rename failed. Files renamed before it are removed again, so that no partial output remains.
    pub fn finish(mut self, files: Vec<PendingFile>) -> Result<(), JobError> {
        let mut placed: Vec<PathBuf> = Vec::new();
        for file in files {
            let path = file.path().to_owned();
            if let Err(error) = file.commit() {
                for path in &placed {
                    let _ = fs::remove_file(path);
                }
                return Err(error);
            }
            placed.push(path);
        }
        for name in &self.previous_files {
            let path = self.path.join(name);
            if name != REPORT && !placed.contains(&path) {
                let _ = fs::remove_file(path);
            }
        }
        self.done = true;
        Ok(())
    }
}

/// Writes a small file under a temporary name beside its final one, to be renamed later.
///
/// # Errors
/// The disk is full, permission is denied, or the folder does not exist.
pub fn write_pending(path: PathBuf, text: &str) -> Result<PendingFile, JobError> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".unfinished-");
    // Temporary files are private by default; a delivered file has the usual permissions.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder).map_err(|e| JobError::writing(&path, &e))?;
    file.write_all(text.as_bytes())
        .and_then(|()| file.as_file().sync_all())
        .map_err(|e| JobError::writing(&path, &e))?;
    Ok(PendingFile::new(path, file.into_temp_path()))
}

/// Checks that one output file may be written under this name. Existing files are overwritten only with `force`, input
/// recordings never.
///
/// # Errors
/// A folder, an input recording or another file has the name.
pub fn check_file_overwrite(path: &Path, inputs: &[PathBuf], force: bool) -> Result<(), JobError> {
    let refuse = |what: &str, advice: &str| Err(JobError::new(JobErrorKind::WouldOverwrite, what, advice).at(path));
    if path.is_dir() {
        return refuse("a folder has the name of this output file", "choose another name");
    }
    if inputs.iter().any(|input| same_file::is_same_file(input, path).unwrap_or(false)) {
        return refuse("this input recording would be overwritten by the output", "choose another name");
    }
    if path.symlink_metadata().is_ok() && !force {
        return refuse("this file exists and would be overwritten", "choose another name, or use --force");
    }
    Ok(())
}

/// Whether `name` is one that a job writes.
fn is_output(name: &str) -> bool {
    let plain = Path::new(name).components().count() == 1 && !name.starts_with('.');
    let between = |start: &str, end: &str| name.starts_with(start) && name.ends_with(end);
    plain
        && (["mix.wav", "report.html", REPORT].contains(&name)
            || between("voice-", ".wav")
            || between("settings-", ".toml"))
}

impl Drop for OutputFolder {
    /// Removes the empty folders that a failed job created.
    fn drop(&mut self) {
        if !self.done {
            for path in &self.created {
                let _ = fs::remove_dir(path);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_of_other_origin_are_not_overwritten() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("mix.wav"), "mine").unwrap();
        let names = ["mix.wav".to_string()];
        let error = OutputFolder::open(place.path(), "--out", false).unwrap().check_overwrite(&names, &[]).unwrap_err();
        assert_eq!(error.error_kind(), JobErrorKind::WouldOverwrite);
        OutputFolder::open(place.path(), "--out", true).unwrap().check_overwrite(&names, &[]).unwrap();
        let inputs = [place.path().join("./mix.wav")];
        assert!(OutputFolder::open(place.path(), "--out", true).unwrap().check_overwrite(&names, &inputs).is_err());
        assert_eq!(fs::read_to_string(place.path().join("mix.wav")).unwrap(), "mine");
    }

    #[test]
    fn a_foreign_report_json_is_not_overwritten() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("report.json"), "{\"format\": 1, \"title\": \"accounts\"}").unwrap();
        let mut folder = OutputFolder::open(place.path(), "--out", false).unwrap();
        assert!(folder.check_overwrite(&["report.json".to_string()], &[]).is_err());
    }

    #[test]
    fn a_failed_job_leaves_no_folder() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("new/mixed");
        let folder = OutputFolder::open(&path, "--out", false).unwrap();
        let waiting = folder.write_pending("a.txt", "text").unwrap();
        drop(waiting);
        drop(folder);
        assert!(!place.path().join("new").exists());
        let folder = OutputFolder::open(&path, "--out", false).unwrap();
        let waiting = folder.write_pending("a.txt", "text").unwrap();
        folder.finish(vec![waiting]).unwrap();
        assert_eq!(fs::read_to_string(path.join("a.txt")).unwrap(), "text");
    }

    #[test]
    fn a_failed_rename_removes_the_files_already_written() {
        let place = tempfile::tempdir().unwrap();
        let folder = OutputFolder::open(place.path(), "--out", false).unwrap();
        let files = vec![folder.write_pending("a.txt", "a").unwrap(), folder.write_pending("b.txt", "b").unwrap()];
        fs::create_dir(place.path().join("b.txt")).unwrap();
        fs::write(place.path().join("b.txt/full"), "").unwrap();
        folder.finish(files).unwrap_err();
        let left: Vec<_> = fs::read_dir(place.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(left, ["b.txt"]);
    }

    #[test]
    fn only_names_that_a_job_writes_are_output_names() {
        for name in ["mix.wav", "voice-anna.wav", "settings-anna.toml", "report.html", "report.json"] {
            assert!(is_output(name), "{name}");
        }
        for name in ["..", "thesis.odt", "voice-a/../../mix.wav", "/etc/voice-.wav", ".voice-a.wav", ""] {
            assert!(!is_output(name), "{name}");
        }
    }

    #[test]
    fn advice_names_options_that_the_program_has() {
        let place = tempfile::tempdir().unwrap();
        let names = ["candidate-1.wav".to_string()];
        fs::write(place.path().join(&names[0]), "x").unwrap();
        let advice = |folder: Result<OutputFolder, JobError>| {
            folder.unwrap().check_overwrite(&names, &[]).unwrap_err().to_string()
        };
        let mix = advice(OutputFolder::open(place.path(), "--out", false));
        assert!(mix.contains("--out") && mix.contains("--force"), "{mix}");
        let clips = advice(OutputFolder::open_without_overwriting(place.path(), "--audition"));
        assert!(clips.contains("choose another folder with --audition, or delete the file"), "{clips}");
        assert!(!clips.contains("--out") && !clips.contains("--force"), "{clips}");
    }
}
