//! Settings as text: TOML with a format number. Settings files, the plugin's state and its clipboard share this text.
//!
//! ```
//! use voicechain_core::strip::StartingPoint;
//!
//! let settings = StartingPoint::SpokenClose.settings();
//! let text = voicechain_text::write(&settings)?;
//! assert!(text.starts_with("format = 1\n"));
//! assert_eq!(voicechain_text::read(&text)?, settings);
//! # Ok::<(), voicechain_text::TextError>(())
//! ```
#![forbid(unsafe_code)]

use serde::{Deserialize, Serialize};
use std::fmt;
use voicechain_core::StripSettings;
use voicechain_core::measure::Profile;

mod profile;

/// Format number of the text that this version writes and reads.
pub const FORMAT: u32 = 1;
/// Maximum length of a text, bytes. A complete settings file has about 2 600 bytes, with a profile about 9 000.
pub const MAX_BYTES: usize = 1 << 18;

/// Reason why a text was rejected: the fault, and what to do about it. A rejected text changes nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextError {
    /// Description of the fault.
    pub what: String,
    /// Advice to the user.
    pub advice: &'static str,
}

impl TextError {
    fn new(what: impl Into<String>, advice: &'static str) -> Self {
        Self { what: what.into(), advice }
    }
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.what, self.advice)
    }
}

impl std::error::Error for TextError {}

/// Settings with the proposal and the profile of the voice that they belong to. One track passes it to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingsBundle {
    /// Current settings.
    pub settings: StripSettings,
    /// Proposal for the same voice, if it was measured. Its difference from `settings` is what the user changed.
    pub proposed: Option<StripSettings>,
    /// Measured profile of the voice.
    pub profile: Option<Profile>,
}

impl SettingsBundle {
    /// Creates a bundle of settings only.
    #[must_use]
    pub fn alone(settings: StripSettings) -> Self {
        Self { settings, proposed: None, profile: None }
    }
}

/// Table for proposal and profile; reading settings alone skips it.
const VOICE: &str = "voice";

#[derive(Serialize)]
struct SettingsText {
    format: u32,
    #[serde(flatten)]
    settings: StripSettings,
    #[serde(skip_serializing_if = "Option::is_none")]
    voice: Option<Voice>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Voice {
    #[serde(skip_serializing_if = "Option::is_none")]
    proposed: Option<StripSettings>,
    #[serde(skip_serializing_if = "Option::is_none")]
    profile: Option<Profile>,
}

/// Writes settings as text.
///
/// # Errors
/// None for settings that [`StripSettings::check`] accepts.
pub fn write(settings: &StripSettings) -> Result<String, TextError> {
    write_bundle(&SettingsBundle::alone(*settings))
}

/// Writes a bundle as text: its settings, then the table `voice`.
///
/// # Errors
/// None for settings that [`StripSettings::check`] accepts.
pub fn write_bundle(bundle: &SettingsBundle) -> Result<String, TextError> {
    let known = bundle.proposed.is_some() || bundle.profile.is_some();
    let voice = known.then_some(Voice { proposed: bundle.proposed, profile: bundle.profile });
    let text = SettingsText { format: FORMAT, settings: bundle.settings, voice };
    toml::to_string(&text)
        .map_err(|e| TextError::new(format!("the settings cannot be written ({e})"), "check the values"))
}

/// Reads settings from a text. Missing settings keep their defaults, so that texts of older versions remain complete.
///
/// # Errors
/// Text that is not TOML, an unknown setting, another format, a value out of range, more than [`MAX_BYTES`] bytes.
pub fn read(text: &str) -> Result<StripSettings, TextError> {
    read_bundle(text).map(|bundle| bundle.settings)
}

/// Reads settings, proposal and profile from a text.
///
/// # Errors
/// As [`read`], also for the proposal; a profile that no meter can produce.
pub fn read_bundle(text: &str) -> Result<SettingsBundle, TextError> {
    if text.len() > MAX_BYTES {
        return Err(TextError::new("too long for a settings file", "use a file that this program wrote"));
    }
    let mut table: toml::Table = text.parse().map_err(|e: toml::de::Error| {
        TextError::new(format!("not a settings file ({})", e.message()), "use a file that this program wrote")
    })?;
    match table.remove("format").as_ref().and_then(toml::Value::as_integer) {
        Some(1) => {}
        Some(other) => {
            let what = format!("settings format {other} is not supported");
            return Err(TextError::new(what, "use a file in format 1"));
        }
        None => {
            return Err(TextError::new("the line 'format = 1' is missing", "use a file that this program wrote"));
        }
    }
    let advice = "correct or remove that line";
    let wrong = |e: toml::de::Error| TextError::new(e.message(), advice);
    let voice = table.remove(VOICE);
    if let Some(profile) = voice.as_ref().and_then(|voice| voice.get("profile")) {
        profile::check_numbers(profile)?;
    }
    let voice: Option<Voice> = voice.map(toml::Value::try_into).transpose().map_err(wrong)?;
    let settings: StripSettings = toml::Value::Table(table).try_into().map_err(wrong)?;
    let (proposed, profile) = voice.map_or((None, None), |voice| (voice.proposed, voice.profile));
    if let Some(profile) = &profile {
        profile::check(profile)?;
    }
    for settings in [Some(settings), proposed].into_iter().flatten() {
        settings.check().map_err(|e| TextError::new(e.to_string(), "correct that value"))?;
    }
    Ok(SettingsBundle { settings, proposed, profile })
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::strip::StartingPoint;

    #[test]
    fn settings_survive_writing_and_reading() {
        for point in StartingPoint::ALL {
            let mut settings = point.settings();
            settings.compressor.ratio = f64::INFINITY;
            let text = write(&settings).unwrap();
            assert!(text.starts_with("format = 1"), "{text}");
            assert_eq!(read(&text).unwrap(), settings);
        }
    }

    #[test]
    fn a_bundle_extends_the_settings_text() {
        let bundle = SettingsBundle {
            settings: StartingPoint::SungInMix.settings(),
            proposed: Some(StartingPoint::SungAlone.settings()),
            profile: None,
        };
        let text = write_bundle(&bundle).unwrap();
        assert_eq!(read_bundle(&text).unwrap(), bundle);
        assert_eq!(read(&text).unwrap(), bundle.settings);
        let alone = write(&bundle.settings).unwrap();
        assert!(text.starts_with(&alone));
        assert_eq!(read_bundle(&alone).unwrap().proposed, None);
        let wrong = text.replace("[voice.proposed.compressor]", "[voice.proposed.compressor]\nwarmth = 1");
        assert!(read(&wrong).unwrap_err().to_string().contains("warmth"));
    }

    #[test]
    fn errors_name_the_fault() {
        let cases = [
            ("", "format = 1"),
            ("format = 7", "format 7"),
            ("format = 1\n[high_pass]\nfrequency_hz = 5.0", "high_pass.frequency_hz is 5; allowed: 20 to 400 Hz"),
            ("format = 1\n[high_pass]\nfrequency_hz = nan", "high_pass.frequency_hz"),
            ("format = 1\n[high_pass]\nwarmth = 5.0", "warmth"),
            ("format = 1\norder = [\"tone_eq\", \"tone_eq\", \"de_esser\", \"compressor\"]", "order"),
            ("\u{0}\u{1}", "not a settings file"),
        ];
        for (text, expected) in cases {
            let line = read(text).unwrap_err().to_string();
            assert!(line.contains(expected), "{line}");
        }
        assert_eq!(read("format = 1").unwrap(), StripSettings::default());
        let long = format!("format = 1\n# {}", "x".repeat(MAX_BYTES));
        assert!(read(&long).unwrap_err().to_string().contains("too long"));
        let deep = format!("format = 1\na = {}", "[".repeat(100_000));
        assert!(read(&deep).unwrap_err().to_string().contains("not a settings file"));
    }

    #[test]
    fn a_truncated_text_is_rejected_or_in_range() {
        let mut settings = StartingPoint::SungInMix.settings();
        settings.trim.gain_db = 3.0;
        let text = write(&settings).unwrap();
        // A text cut at the end of a line is complete with defaults, as that of an older version. Any other cut is
        // rejected or leaves a number that is still in range.
        for end in 0..text.len() {
            if let Ok(read) = read(&text[..end]) {
                assert_eq!(read.check(), Ok(()));
            }
        }
    }
}
