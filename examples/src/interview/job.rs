//! What is to be done.

use crate::delivery::DeliverySpec;
use std::path::PathBuf;
use voicechain_core::StripSettings;
use voicechain_core::propose::Context;

/// A voice of the job: a name for its files, and the recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The name, as the person gave it or from the file's name.
    pub name: String,
    /// The file.
    pub path: PathBuf,
}

/// Where the settings of the voices come from.
#[derive(Clone, Debug, PartialEq)]
pub enum SettingsSource {
    /// What is proposed for each voice from what was measured of it.
    Proposed(Context),
    /// The host, the first voice, has these; every other voice has what is proposed for it, moved by what the person
    /// changed on the host's proposal.
    CarriedOver {
        /// What the voices are for.
        context: Context,
        /// The host's settings.
        host: StripSettings,
        /// Where they are from, in words.
        from: String,
    },
    /// The same for every voice, each with a trim of its own.
    Given {
        /// The settings.
        settings: StripSettings,
        /// Where they are from, in words.
        from: String,
    },
}

/// What is to be done.
#[derive(Clone, Debug)]
pub struct Job {
    /// The recordings; none makes the demo.
    pub recordings: Vec<Recording>,
    /// Where to write.
    pub out: PathBuf,
    /// What to deliver.
    pub delivery: DeliverySpec,
    /// Where the settings come from.
    pub settings_source: SettingsSource,
    /// Overwrite files that are not from an earlier run.
    pub force: bool,
}

impl Job {
    /// A job with proposed settings for spoken voices alone, and the default delivery.
    pub fn new(recordings: Vec<Recording>, out: PathBuf) -> Self {
        Self {
            recordings,
            out,
            delivery: DeliverySpec::default(),
            settings_source: SettingsSource::Proposed(Context::default()),
            force: false,
        }
    }
}
