//! What was chosen for a voice.

use crate::report::data::Reason;
use voicechain_core::StripSettings;
use voicechain_core::settings::StageId;

/// What was chosen for a voice.
#[derive(Clone, Debug, Default)]
pub(super) struct AssignedSettings {
    pub(super) settings: StripSettings,
    /// Where the settings are from, in words.
    pub(super) from: String,
    /// What was measured for them, reason by reason.
    pub(super) evidence: Vec<Reason>,
    /// What else led to the settings of single stages.
    pub(super) why: Vec<(&'static str, String)>,
    pub(super) warnings: Vec<String>,
}

impl AssignedSettings {
    /// What led to the settings of a stage, besides the evidence.
    pub(super) fn why(&self, stage: StageId) -> Option<String> {
        self.why.iter().find(|(id, _)| *id == stage.id()).map(|(_, words)| words.clone())
    }
}
