//! The folder that a job writes to: other people's files are safe, and nothing half-made is left behind.

use crate::error::{JobError, Trouble};
use crate::report::data::Report;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The file by which a job recognises its own earlier output.
const REPORT: &str = "report.json";

/// A folder that a job may write to.
#[derive(Debug)]
pub struct OutputFolder {
    path: PathBuf,
    created: bool,
    /// Files of an earlier run of the same program.
    earlier: Vec<String>,
    force: bool,
    done: bool,
}

impl OutputFolder {
    /// Opens or creates the folder. Earlier output of this program, recognised by its `report.json`, may be replaced.
    ///
    /// # Errors
    /// A file in the way, or a folder that cannot be made or written.
    pub fn open(path: &Path, force: bool) -> Result<Self, JobError> {
        let created = !path.exists();
        if created {
            fs::create_dir_all(path).map_err(|e| JobError::writing(path, &e))?;
        } else if !path.is_dir() {
            return Err(JobError::new(
                Trouble::InTheWay,
                "a file is where the folder should be",
                "choose another folder",
            )
            .at(path));
        }
        let earlier = fs::read_to_string(path.join(REPORT)).ok().and_then(|text| Report::from_json(&text).ok());
        let earlier = earlier.map(|report| report.files.into_iter().map(|f| f.name).collect()).unwrap_or_default();
        // A folder that cannot be written is found out now, not after the work.
        tempfile::tempfile_in(path).map_err(|e| JobError::writing(path, &e))?;
        Ok(Self { path: path.to_owned(), created, earlier, force, done: false })
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Makes sure that files of these names may be written.
    ///
    /// # Errors
    /// A file of that name that this program did not write.
    pub fn claim(&self, names: &[String]) -> Result<(), JobError> {
        for name in names {
            let path = self.path.join(name);
            let ours = self.earlier.contains(name) || (name == REPORT && !self.earlier.is_empty());
            if path.exists() && !ours && !self.force {
                return Err(JobError::new(
                    Trouble::InTheWay,
                    "this file is not from an earlier run and would be overwritten",
                    "choose another folder with --out, or say --force",
                )
                .at(path));
            }
        }
        Ok(())
    }

    /// Writes a small file whole: under a temporary name first, then renamed.
    ///
    /// # Errors
    /// A full disk, or no permission.
    pub fn write(&self, name: &str, text: &str) -> Result<(), JobError> {
        let path = self.path.join(name);
        let mut file = tempfile::Builder::new()
            .prefix(".unfinished-")
            .tempfile_in(&self.path)
            .map_err(|e| JobError::writing(&path, &e))?;
        file.write_all(text.as_bytes())
            .and_then(|()| file.as_file().sync_all())
            .map_err(|e| JobError::writing(&path, &e))?;
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let _ = file.as_file().set_permissions(fs::Permissions::from_mode(0o644));
        }
        file.persist(&path).map_err(|e| JobError::writing(&path, &e.error))?;
        Ok(())
    }

    /// The job is done and wrote these files: those of the earlier run that are not among them are removed.
    pub fn finish(mut self, written: &[String]) {
        for name in &self.earlier {
            let plain = Path::new(name).components().count() == 1;
            if plain && name != REPORT && !written.contains(name) {
                let _ = fs::remove_file(self.path.join(name));
            }
        }
        self.done = true;
    }
}

impl Drop for OutputFolder {
    /// A folder that was made for a job that failed goes again, if nothing is in it.
    fn drop(&mut self) {
        if !self.done && self.created {
            let _ = fs::remove_dir(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_peoples_files_are_safe() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("mix.wav"), "mine").unwrap();
        let names = ["mix.wav".to_string()];
        let error = OutputFolder::open(place.path(), false).unwrap().claim(&names).unwrap_err();
        assert_eq!(error.trouble(), Trouble::InTheWay);
        OutputFolder::open(place.path(), true).unwrap().claim(&names).unwrap();
        assert_eq!(fs::read_to_string(place.path().join("mix.wav")).unwrap(), "mine");
    }

    #[test]
    fn a_report_of_somebody_else_is_not_ours() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("report.json"), "{\"format\": 1, \"title\": \"accounts\"}").unwrap();
        let folder = OutputFolder::open(place.path(), false).unwrap();
        assert!(folder.claim(&["report.json".to_string()]).is_err());
    }

    #[test]
    fn a_failed_job_leaves_no_folder() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("mixed");
        drop(OutputFolder::open(&path, false).unwrap());
        assert!(!path.exists());
        let folder = OutputFolder::open(&path, false).unwrap();
        folder.write("a.txt", "text").unwrap();
        folder.finish(&["a.txt".to_string()]);
        assert_eq!(fs::read_to_string(path.join("a.txt")).unwrap(), "text");
    }
}
