//! What every part of the page draws with, and how it asks for changes of settings.

use crate::look::Look;
use crate::shown::{Ask, Shown};
use voicechain_core::settings::{SettingInfo, StageId};

/// What every part of the page draws with.
pub(crate) struct Pen<'a> {
    pub(crate) look: Look,
    pub(crate) shown: &'a Shown<'a>,
    pub(crate) asks: Vec<Ask>,
}

impl Pen<'_> {
    /// One whole gesture.
    pub(crate) fn set(&mut self, stage: StageId, row: usize, value: f64) {
        self.set_all(stage, &[(row, value)]);
    }

    /// Several settings in one gesture, which is one step to take back.
    pub(crate) fn set_all(&mut self, stage: StageId, values: &[(usize, f64)]) {
        self.asks.extend(values.iter().map(|(row, _)| Ask::Begin(stage, *row)));
        self.asks.extend(values.iter().map(|(row, value)| Ask::Set(stage, *row, *value)));
        self.asks.extend(values.iter().map(|(row, _)| Ask::End(stage, *row)));
    }

    pub(crate) fn value(&self, stage: StageId, row: usize) -> f64 {
        self.shown.settings.value(stage, row).unwrap_or(stage.rows()[row].default)
    }

    /// The stage is switched on, or has no switch; one that has a variant without it is not on there.
    pub(crate) fn is_on(&self, stage: StageId) -> bool {
        let set = |name: &str| row_of(stage, name).is_none_or(|(row, _)| self.value(stage, row) >= 0.5);
        set("on") && set("variant")
    }
}

/// The row of a setting in its stage, by the end of its id.
pub(crate) fn row_of(stage: StageId, field: &str) -> Option<(usize, &'static SettingInfo)> {
    stage.rows().iter().enumerate().find(|(_, info)| info.id.split('.').next_back() == Some(field))
}
