//! Settings as text: TOML with a format number. Settings files, the plugin's state and its clipboard are the same text.
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

/// The format number of the text that this version writes and reads.
pub const FORMAT: u32 = 1;
/// Longest text that is read, in bytes; a whole settings file has about 2 600, with a profile some 9 000.
pub const MAX_BYTES: usize = 1 << 18;

/// Why a text was refused: what is wrong, and what to do about it. Nothing is taken over then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextError {
    /// What is wrong.
    pub what: String,
    /// What to do about it.
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

/// Settings together with what is known of the voice that they belong to: what one track gives to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingsBundle {
    /// The settings, as they are.
    pub settings: StripSettings,
    /// What was proposed for the same voice, if it was measured: the difference is what the person wants.
    pub proposed: Option<StripSettings>,
    /// What was measured about the voice.
    pub profile: Option<Profile>,
}

impl SettingsBundle {
    /// Settings alone.
    #[must_use]
    pub fn alone(settings: StripSettings) -> Self {
        Self { settings, proposed: None, profile: None }
    }
}

/// The table beside the settings; a reader of settings alone passes over it.
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

/// The text of the settings.
///
/// # Errors
/// None for settings that [`StripSettings::check`] accepts.
pub fn write(settings: &StripSettings) -> Result<String, TextError> {
    write_bundle(&SettingsBundle::alone(*settings))
}

/// The text of a bundle: that of its settings, and the table `voice`.
///
/// # Errors
/// None for settings that [`StripSettings::check`] accepts.
pub fn write_bundle(bundle: &SettingsBundle) -> Result<String, TextError> {
    let known = bundle.proposed.is_some() || bundle.profile.is_some();
    let voice = known.then_some(Voice { proposed: bundle.proposed, profile: bundle.profile });
    let text = SettingsText { format: FORMAT, settings: bundle.settings, voice };
    toml::to_string(&text).map_err(|e| TextError::new(format!("the settings cannot be written ({e})"), "check them"))
}

/// Reads a text. Settings that it does not name keep their defaults, so that a text of an older version is complete.
///
/// # Errors
/// Text that is no settings text, an unknown setting, another format, a value out of range, more than [`MAX_BYTES`] bytes.
pub fn read(text: &str) -> Result<StripSettings, TextError> {
    read_bundle(text).map(|bundle| bundle.settings)
}

/// Reads the text of settings with what stands beside them.
///
/// # Errors
/// As [`read`], also for what was proposed; a profile that no meter can have given.
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
            let what = format!("settings format {other} is not known");
            return Err(TextError::new(what, "use a version that writes format 1"));
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
    fn text_and_back_is_the_same() {
        for point in StartingPoint::ALL {
            let mut settings = point.settings();
            settings.compressor.ratio = f64::INFINITY;
            let text = write(&settings).unwrap();
            assert!(text.starts_with("format = 1"), "{text}");
            assert_eq!(read(&text).unwrap(), settings);
        }
    }

    #[test]
    fn a_bundle_is_a_settings_text_with_more() {
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
    fn refusals_name_what_is_wrong() {
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
    fn a_truncated_text_is_refused_or_in_range() {
        let mut settings = StartingPoint::SungInMix.settings();
        settings.trim.gain_db = 3.0;
        let text = write(&settings).unwrap();
        // A cut at a line's end is an older, shorter text: complete with defaults. Any other cut is refused or, within a
        // number, still a number in its range.
        for end in 0..text.len() {
            if let Ok(read) = read(&text[..end]) {
                assert_eq!(read.check(), Ok(()));
            }
        }
    }
}
