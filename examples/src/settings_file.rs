//! The settings file: the strip's settings as TOML, with a format number. The text itself is [`voicechain_text`]'s.

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

/// Reads the text of a settings file. Settings that it does not name keep their defaults.
///
/// # Errors
/// Text that is no settings file, an unknown setting, another format, a value out of range; nothing is taken over then.
pub fn from_text(text: &str) -> Result<StripSettings, JobError> {
    voicechain_text::read(text).map_err(refused)
}

/// Reads a settings file.
///
/// # Errors
/// As [`from_text`], with the path.
pub fn read(path: &Path) -> Result<StripSettings, JobError> {
    let text = std::fs::read_to_string(path).map_err(|e| JobError::opening(path, &e))?;
    from_text(&text).map_err(|e| e.at(path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refusals_become_one_line_with_advice() {
        let line = from_text("format = 1\n[high_pass]\nfrequency_hz = 5.0").unwrap_err().to_string();
        assert_eq!(line, "high_pass.frequency_hz is 5; allowed: 20 to 400 Hz; correct that value");
        let text = to_text(&StripSettings::default()).unwrap();
        assert_eq!(from_text(&text).unwrap(), StripSettings::default());
    }
}
