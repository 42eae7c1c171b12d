//! What every part of the page draws with, and how it asks for changes of settings.

use crate::look::Look;
use crate::shown::{Ask, Shown};
use crate::words;
use voicechain_core::settings::{SectionId, SettingInfo, SpectralLatency, StageId};

/// What every part of the page draws with.
pub(crate) struct Pen<'a> {
    pub(crate) look: Look,
    pub(crate) shown: &'a Shown<'a>,
    pub(crate) asks: Vec<Ask>,
}

impl Pen<'_> {
    /// One whole gesture.
    pub(crate) fn set(&mut self, section: impl Into<SectionId>, row: usize, value: f64) {
        self.set_all(&[(section.into(), row, value)]);
    }

    /// Several settings in one gesture, which is one step to take back.
    pub(crate) fn set_all(&mut self, values: &[(SectionId, usize, f64)]) {
        self.asks.extend(values.iter().map(|&(section, row, _)| Ask::Begin(section, row)));
        self.asks.extend(values.iter().map(|&(section, row, value)| Ask::Set(section, row, value)));
        self.asks.extend(values.iter().map(|&(section, row, _)| Ask::End(section, row)));
    }

    pub(crate) fn value(&self, section: impl Into<SectionId>, row: usize) -> f64 {
        let section = section.into();
        self.shown.settings.value(section, row).unwrap_or(section.rows()[row].default)
    }

    /// The stage is switched on, or has no switch.
    pub(crate) fn is_on(&self, stage: StageId) -> bool {
        row_of(stage, "on").is_none_or(|(row, _)| self.value(stage, row) >= 0.5)
    }

    /// The stage lacks the latency that it needs, whether it is on or off.
    pub(crate) fn lacks_latency(&self, stage: StageId) -> bool {
        stage.shared() == Some(SectionId::Spectral) && self.shown.settings.spectral.latency == SpectralLatency::None
    }

    /// The stage is switched on and has the latency that it needs.
    pub(crate) fn acts(&self, stage: StageId) -> bool {
        self.is_on(stage) && !self.lacks_latency(stage)
    }
}

/// The row of a setting in its section, by the end of its id.
pub(crate) fn row_of(section: impl Into<SectionId>, field: &str) -> Option<(usize, &'static SettingInfo)> {
    section.into().rows().iter().enumerate().find(|(_, info)| info.id.split('.').next_back() == Some(field))
}

/// The same in what the stage is designed from: its own section, then one that it shares.
pub(crate) fn row_for(stage: StageId, field: &str) -> Option<(SectionId, usize, &'static SettingInfo)> {
    stage.sections().find_map(|section| row_of(section, field).map(|(row, info)| (section, row, info)))
}

/// The name of a setting in the row of a stage: with its section's where it shares it.
pub(crate) fn name_in(stage: StageId, section: SectionId, info: &SettingInfo) -> String {
    if section == SectionId::Stage(stage) { info.name.into() } else { words::setting(section, info).to_lowercase() }
}
