//! Drawing context shared by all parts of the page, and requests for changes of settings.

use crate::formatting;
use crate::style::Palette;
use crate::view_model::{UserAction, ViewModel};
use voicechain_core::settings::{SectionId, SettingInfo, SpectralLatency, StageId};

/// Drawing context shared by all parts of the page.
pub(crate) struct DrawContext<'a> {
    pub(crate) palette: Palette,
    pub(crate) view: &'a ViewModel<'a>,
    pub(crate) actions: Vec<UserAction>,
}

impl DrawContext<'_> {
    /// Sets one value in a complete gesture.
    pub(crate) fn set(&mut self, section: impl Into<SectionId>, row: usize, value: f64) {
        self.set_all(&[(section.into(), row, value)]);
    }

    /// Sets several values in one gesture, which is one undo step.
    pub(crate) fn set_all(&mut self, values: &[(SectionId, usize, f64)]) {
        self.actions.extend(values.iter().map(|&(section, row, _)| UserAction::BeginGesture(section, row)));
        self.actions.extend(values.iter().map(|&(section, row, value)| UserAction::SetValue(section, row, value)));
        self.actions.extend(values.iter().map(|&(section, row, _)| UserAction::EndGesture(section, row)));
    }

    pub(crate) fn value(&self, section: impl Into<SectionId>, row: usize) -> f64 {
        let section = section.into();
        self.view.settings.value(section, row).unwrap_or(section.rows()[row].default)
    }

    /// Whether the stage is switched on; true for a stage without a switch.
    pub(crate) fn is_on(&self, stage: StageId) -> bool {
        row_of(stage, "on").is_none_or(|(row, _)| self.value(stage, row) >= 0.5)
    }

    /// Whether the stage lacks the latency that it needs, whether it is on or off.
    pub(crate) fn lacks_latency(&self, stage: StageId) -> bool {
        stage.shared() == Some(SectionId::Spectral) && self.view.settings.spectral.latency == SpectralLatency::None
    }

    /// Whether the stage is switched on and has the latency that it needs.
    pub(crate) fn acts(&self, stage: StageId) -> bool {
        self.is_on(stage) && !self.lacks_latency(stage)
    }
}

/// Row of a setting within a section, found by the last part of its id.
pub(crate) fn row_of(section: impl Into<SectionId>, field: &str) -> Option<(usize, &'static SettingInfo)> {
    section.into().rows().iter().enumerate().find(|(_, info)| info.id.split('.').next_back() == Some(field))
}

/// Row of a setting of a stage, searched in its own section first, then in the section that it shares.
pub(crate) fn row_for(stage: StageId, field: &str) -> Option<(SectionId, usize, &'static SettingInfo)> {
    stage.sections().find_map(|section| row_of(section, field).map(|(row, info)| (section, row, info)))
}

/// Name of a setting in the row of a stage. The name of a shared section is included.
pub(crate) fn name_in(stage: StageId, section: SectionId, info: &SettingInfo) -> String {
    if section == SectionId::Stage(stage) {
        info.name.into()
    } else {
        formatting::setting(section, info).to_lowercase()
    }
}
