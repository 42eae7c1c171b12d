//! Settings file: the strip's settings as TOML with a format number. [`voicechain_text`] defines the text.

use crate::error::{JobError, JobErrorKind};
use std::path::Path;
use voicechain_core::StripSettings;
use voicechain_text::TextError;

fn refused(error: TextError) -> JobError {
    JobError::new(JobErrorKind::Usage, error.what, error.advice)
}

/// The text of a settings file.
pub fn to_text(settings: &StripSettings) -> Result<String, JobError> {
    voicechain_text::write(settings).map_err(refused)
}

/// Parses the text of a settings file. Settings that are not named keep their defaults.
///
/// # Errors
/// The text is not a settings file, names an unknown setting, has another format number or a value out of range.
pub fn from_text(text: &str) -> Result<StripSettings, JobError> {
    voicechain_text::read(text).map_err(refused)
}

/// Reads a settings file.
///
/// # Errors
/// The file cannot be read, or an error of [`from_text`]; both with the path.
pub fn read(path: &Path) -> Result<StripSettings, JobError> {
    let text = std::fs::read_to_string(path).map_err(|e| JobError::opening(path, &e))?;
    from_text(&text).map_err(|e| e.at(path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_become_one_line_with_advice() {
        let line = from_text("format = 1\n[high_pass]\nfrequency_hz = 5.0").unwrap_err().to_string();
        assert_eq!(line, "high_pass.frequency_hz is 5; allowed: 20 to 400 Hz; correct that value");
        let text = to_text(&StripSettings::default()).unwrap();
        assert_eq!(from_text(&text).unwrap(), StripSettings::default());
    }
}
