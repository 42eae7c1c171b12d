//! Settings assigned to a voice.

use crate::report::data::{LeftOff, Reason};
use voicechain_core::StripSettings;
use voicechain_core::settings::StageId;

/// Settings assigned to a voice, with origin, evidence and warnings.
#[derive(Clone, Debug, Default)]
pub(super) struct AssignedSettings {
    pub(super) settings: StripSettings,
    /// Origin of the settings, for the report.
    pub(super) from: String,
    /// Measurements that led to the settings.
    pub(super) evidence: Vec<Reason>,
    /// Stages that the proposal leaves off, and why.
    pub(super) left_off: Vec<LeftOff>,
    /// Other reasons: stage id and text.
    pub(super) why: Vec<(&'static str, String)>,
    pub(super) warnings: Vec<String>,
}

impl AssignedSettings {
    /// Reason for the settings of a stage, besides the evidence.
    pub(super) fn why(&self, stage: StageId) -> Option<String> {
        self.why.iter().find(|(id, _)| *id == stage.id()).map(|(_, words)| words.clone())
    }
}
