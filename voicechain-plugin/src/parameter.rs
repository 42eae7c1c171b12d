//! Host parameter for one row of the core's table of settings.

use nice_plug::prelude::*;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use voicechain_core::settings::{HighPassSettings, SectionId, SettingInfo};
use voicechain_core::units::Unit;

/// Host parameter for one row of the table.
#[derive(Debug)]
pub enum Parameter {
    /// A continuous value, as its position from 0 to 1.
    Position(FloatParam),
    /// A choice, as its index from 0.
    Choice(IntParam),
    /// A switch.
    Switch(BoolParam),
}

impl Parameter {
    pub(crate) fn new(section: SectionId, info: &'static SettingInfo, changes: &Arc<ChangeCounter>) -> Self {
        let name = format!("{} {}", section.name(), info.name);
        let changes = Arc::clone(changes);
        match info.unit {
            Unit::Switch => Self::Switch(switch(&name, info.default >= 0.5, changes)),
            Unit::Choice => {
                let last = info.choices.len() as i32 - 1;
                let param = IntParam::new(name, info.default as i32, IntRange::Linear { min: 0, max: last })
                    .with_value_to_string(Arc::new(|value| info.text(f64::from(value)).to_string()))
                    .with_string_to_value(Arc::new(|text| info.parse(text).ok().map(|value| value as i32)))
                    .with_callback(Arc::new(move |_| changes.increment()));
                Self::Choice(if info.automatable { param } else { param.non_automatable() })
            }
            _ => {
                let default = info.position_of(info.default) as f32;
                let param = FloatParam::new(name, default, FloatRange::Linear { min: 0.0, max: 1.0 })
                    .with_value_to_string(Arc::new(|at| info.text(info.value_at(f64::from(at))).to_string()))
                    .with_string_to_value(Arc::new(|text| info.parse(text).ok().map(|v| info.position_of(v) as f32)))
                    .with_callback(Arc::new(move |_| changes.increment()));
                Self::Position(if info.automatable { param } else { param.non_automatable() })
            }
        }
    }

    /// Pointer by which the framework identifies the parameter.
    #[must_use]
    pub fn pointer(&self) -> ParamPtr {
        match self {
            Self::Position(param) => param.as_ptr(),
            Self::Choice(param) => param.as_ptr(),
            Self::Switch(param) => param.as_ptr(),
        }
    }

    /// Whether this is the choice that a pointer identifies.
    pub(crate) fn is_choice(&self, pointer: ParamPtr) -> bool {
        matches!(self, Self::Choice(_)) && self.pointer() == pointer
    }

    /// Normalised parameter value for a value of the row, 0 to 1.
    #[must_use]
    pub fn normalised(&self, info: &SettingInfo, value: f64) -> f32 {
        match self {
            Self::Position(_) => info.position_of(value) as f32,
            Self::Choice(param) => param.preview_normalized(value as i32),
            Self::Switch(param) => param.preview_normalized(value >= 0.5),
        }
    }

    /// Value of the setting; with `modulated`, host modulation is included.
    pub(crate) fn value(&self, info: &SettingInfo, modulated: bool) -> f64 {
        fn of<P: Param>(param: &P, modulated: bool) -> P::Plain {
            if modulated { param.modulated_plain_value() } else { param.unmodulated_plain_value() }
        }
        match self {
            Self::Position(param) => info.value_at(f64::from(of(param, modulated))),
            Self::Choice(param) => f64::from(of(param, modulated)),
            Self::Switch(param) => f64::from(u8::from(of(param, modulated))),
        }
    }
}

/// Switch parameter with this name.
pub(crate) fn switch(name: &str, default: bool, changes: Arc<ChangeCounter>) -> BoolParam {
    BoolParam::new(name, default)
        .with_value_to_string(Arc::new(|on| if on { "on" } else { "off" }.to_string()))
        .with_string_to_value(Arc::new(|text| SWITCH.parse(text).ok().map(|value| value >= 0.5)))
        .with_callback(Arc::new(move |_| changes.increment()))
}

/// Any switch of the table; all switches parse the same texts.
static SWITCH: &SettingInfo = &HighPassSettings::ROWS[0];

/// Counts parameter changes, so that the audio thread reads the parameters only after a change.
#[derive(Debug, Default)]
pub(crate) struct ChangeCounter(AtomicU32);

impl ChangeCounter {
    /// Counts one change.
    pub(crate) fn increment(&self) {
        self.0.fetch_add(1, Ordering::Release);
    }

    /// Number of changes so far, modulo 2³².
    pub(crate) fn count(&self) -> u32 {
        self.0.load(Ordering::Acquire)
    }
}
