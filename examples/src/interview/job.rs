//! Job description: recordings, settings source and delivery.

use crate::delivery::DeliverySpec;
use std::path::PathBuf;
use voicechain_core::StripSettings;
use voicechain_core::propose::Context;

/// Recording of one voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Name of the voice, as given or from the file name.
    pub name: String,
    /// Path of the recording.
    pub path: PathBuf,
}

/// Source of the voices' settings.
#[derive(Clone, Debug, PartialEq)]
pub enum SettingsSource {
    /// Every voice gets the settings proposed from its measurement.
    Proposed(Context),
    /// The first voice, the host, gets the given settings. Every other voice gets its own proposal, changed by the
    /// difference between the host's settings and the host's proposal.
    CarriedOver {
        /// Role and vocal style of the voices.
        context: Context,
        /// Settings of the host.
        host: StripSettings,
        /// Origin of the settings, for the report.
        from: String,
    },
    /// Every voice gets the same settings; only the trim is set for each voice.
    Given {
        /// The settings.
        settings: StripSettings,
        /// Origin of the settings, for the report.
        from: String,
    },
}

/// Interview job.
#[derive(Clone, Debug)]
pub struct Job {
    /// The recordings; an empty list makes the demo.
    pub recordings: Vec<Recording>,
    /// Output folder.
    pub out: PathBuf,
    /// Specification of the delivered mix.
    pub delivery: DeliverySpec,
    /// Source of the settings.
    pub settings_source: SettingsSource,
    /// Whether files that are not from an earlier run are overwritten.
    pub force: bool,
}

impl Job {
    /// A job with proposed settings for spoken solo voices and the default delivery.
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
