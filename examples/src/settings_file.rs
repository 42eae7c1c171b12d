//! The settings file: the strip's settings as TOML, with a format number.

use crate::error::{JobError, Trouble};
use serde::{Deserialize, Serialize};
use std::path::Path;
use voicechain_core::StripSettings;

/// The format number of the settings files that this version writes and reads.
pub const FORMAT: u32 = 1;

#[derive(Serialize, Deserialize)]
struct SettingsFile {
    format: u32,
    #[serde(flatten)]
    settings: StripSettings,
}

/// The text of a settings file.
pub fn to_text(settings: &StripSettings) -> Result<String, JobError> {
    let file = SettingsFile { format: FORMAT, settings: *settings };
    toml::to_string(&file)
        .map_err(|e| JobError::new(Trouble::Usage, format!("the settings cannot be written ({e})"), "check them"))
}

/// Reads the text of a settings file. Settings that it does not name keep their defaults.
///
/// # Errors
/// Text that is no settings file, an unknown setting, another format, a value out of range; nothing is taken over then.
pub fn from_text(text: &str) -> Result<StripSettings, JobError> {
    let usage = |what: String, advice: &str| JobError::new(Trouble::Usage, what, advice);
    let table: toml::Table = text.parse().map_err(|e: toml::de::Error| {
        usage(format!("not a settings file ({})", e.message()), "use a file that this program wrote")
    })?;
    match table.get("format").and_then(toml::Value::as_integer) {
        Some(1) => {}
        Some(other) => {
            return Err(usage(format!("settings format {other} is not known"), "use a version that writes format 1"));
        }
        None => return Err(usage("the line 'format = 1' is missing".into(), "use a file that this program wrote")),
    }
    let mut table = table;
    table.remove("format");
    let settings: StripSettings = toml::Value::Table(table)
        .try_into()
        .map_err(|e: toml::de::Error| usage(e.message().to_string(), "correct or remove that line"))?;
    settings.check().map_err(|e| usage(e.to_string(), "correct that value"))?;
    Ok(settings)
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
    use voicechain_core::strip::StartingPoint;

    #[test]
    fn text_and_back_is_the_same() {
        for point in StartingPoint::ALL {
            let mut settings = point.settings();
            settings.compressor.ratio = f64::INFINITY;
            let text = to_text(&settings).unwrap();
            assert!(text.starts_with("format = 1"), "{text}");
            assert_eq!(from_text(&text).unwrap(), settings);
        }
    }

    #[test]
    fn refusals_name_what_is_wrong() {
        let cases = [
            ("", "format = 1"),
            ("format = 7", "format 7"),
            ("format = 1\n[high_pass]\nfrequency_hz = 5.0", "high_pass.frequency_hz is 5; allowed is 20 to 400 Hz"),
            ("format = 1\n[high_pass]\nwarmth = 5.0", "warmth"),
            ("format = 1\norder = [\"tone_eq\", \"tone_eq\", \"de_esser\", \"compressor\"]", "order"),
            ("\u{0}\u{1}", "not a settings file"),
        ];
        for (text, expected) in cases {
            let line = from_text(text).unwrap_err().to_string();
            assert!(line.contains(expected), "{line}");
        }
        assert_eq!(from_text("format = 1").unwrap(), StripSettings::default());
    }
}
