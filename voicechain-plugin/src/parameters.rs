//! The host's parameters: one per row of the core's table of settings, and two for listening.
//!
//! The host sees positions from 0 to 1 and texts with units; what they mean is the core's
//! [`SettingInfo::value_at`](voicechain_core::settings::SettingInfo::value_at) and
//! [`text`](voicechain_core::settings::SettingInfo::text). The ids are those of the table and never change.

use nice_plug::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::StripSettings;
use voicechain_core::settings::{DEFAULT_ORDER, MIDDLE, Middle, SettingInfo, StageId};
use voicechain_core::strip::{Listening, Way};
use voicechain_core::units::Unit;
use voicechain_core::voice::Profile;

/// Id of the bypass parameter.
pub const BYPASS: &str = "bypass";
/// Id of the parameter that matches the loudness of bypassed and processed sound.
pub const LEVEL_MATCH: &str = "level_match";

/// One row of the table as a parameter.
#[derive(Debug)]
pub enum Knob {
    /// A number, as its position from 0 to 1.
    Position(FloatParam),
    /// A choice, counted from 0.
    Choice(IntParam),
    /// A switch.
    Switch(BoolParam),
}

impl Knob {
    fn new(stage: StageId, info: &'static SettingInfo, changes: &Arc<Changes>) -> Self {
        let name = format!("{} {}", stage.name(), info.name);
        let changes = Arc::clone(changes);
        match info.unit {
            Unit::Switch => Self::Switch(switch(&name, info.default >= 0.5, changes)),
            Unit::Choice => {
                let last = info.choices.len() as i32 - 1;
                let param = IntParam::new(name, info.default as i32, IntRange::Linear { min: 0, max: last })
                    .with_value_to_string(Arc::new(|value| info.text(f64::from(value)).to_string()))
                    .with_string_to_value(Arc::new(|text| info.parse(text).map(|value| value as i32)))
                    .with_callback(Arc::new(move |_| changes.note()));
                Self::Choice(if info.automatable { param } else { param.non_automatable() })
            }
            _ => {
                let default = info.position_of(info.default) as f32;
                let param = FloatParam::new(name, default, FloatRange::Linear { min: 0.0, max: 1.0 })
                    .with_value_to_string(Arc::new(|at| info.text(info.value_at(f64::from(at))).to_string()))
                    .with_string_to_value(Arc::new(|text| info.parse(text).map(|v| info.position_of(v) as f32)))
                    .with_callback(Arc::new(move |_| changes.note()));
                Self::Position(if info.automatable { param } else { param.non_automatable() })
            }
        }
    }

    /// The pointer that the framework knows the parameter by.
    #[must_use]
    pub fn pointer(&self) -> ParamPtr {
        match self {
            Self::Position(param) => param.as_ptr(),
            Self::Choice(param) => param.as_ptr(),
            Self::Switch(param) => param.as_ptr(),
        }
    }

    /// The setting's value; `modulated` includes what the host adds without moving the parameter.
    fn value(&self, info: &SettingInfo, modulated: bool) -> f64 {
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

fn switch(name: &str, default: bool, changes: Arc<Changes>) -> BoolParam {
    BoolParam::new(name, default)
        .with_value_to_string(Arc::new(|on| if on { "on" } else { "off" }.to_string()))
        .with_string_to_value(Arc::new(|text| SWITCH.parse(text).map(|value| value >= 0.5)))
        .with_callback(Arc::new(move |_| changes.note()))
}

/// Any switch of the table: all are read alike.
static SWITCH: &SettingInfo = &voicechain_core::settings::HighPassSettings::ROWS[0];

/// Counts changes, so that the audio thread reads the parameters only when there is something to read.
#[derive(Debug, Default)]
pub struct Changes(AtomicU32);

impl Changes {
    fn note(&self) {
        self.0.fetch_add(1, Ordering::Release);
    }
}

/// What is known of the voice on a track. The audio thread does not touch it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Voice {
    /// What was measured.
    pub profile: Option<Profile>,
    /// What was proposed for it.
    pub proposed: Option<StripSettings>,
}

/// Everything that host, editor and audio thread share.
#[derive(Debug)]
pub struct Parameters {
    /// One per row of the table, in the order of the stages and their rows.
    knobs: Vec<Vec<Knob>>,
    /// The host's bypass: the delayed input is heard.
    pub bypass: BoolParam,
    /// Sets bypassed and processed sound to the same loudness.
    pub level_match: BoolParam,
    /// The order of the middle stages, two bits each; not a parameter, because it cannot be automated.
    order: AtomicU32,
    /// What the strip takes away is heard; not saved.
    removed: AtomicBool,
    changes: Arc<Changes>,
    /// What is known of the voice on this track; saved, but not a parameter.
    voice: Mutex<Voice>,
    /// Why the last state was refused.
    refused: Mutex<Option<String>>,
}

impl Default for Parameters {
    fn default() -> Self {
        let changes = Arc::new(Changes::default());
        let stage_knobs = |stage: &StageId| stage.rows().iter().map(|info| Knob::new(*stage, info, &changes)).collect();
        Self {
            knobs: StageId::ALL.iter().map(stage_knobs).collect(),
            bypass: switch("Bypass", false, Arc::clone(&changes)).make_bypass(),
            level_match: switch("Bypass level match", false, Arc::clone(&changes)),
            order: AtomicU32::new(packed(DEFAULT_ORDER)),
            removed: AtomicBool::new(false),
            changes,
            voice: Mutex::default(),
            refused: Mutex::new(None),
        }
    }
}

fn packed(order: [Middle; MIDDLE]) -> u32 {
    order.iter().rev().fold(0, |bits, &stage| bits << 2 | stage as u32)
}

fn unpacked(bits: u32) -> [Middle; MIDDLE] {
    std::array::from_fn(|place| Middle::ALL[(bits >> (2 * place)) as usize & 3])
}

impl Parameters {
    /// Every row with its stage and parameter, in the table's order.
    pub fn knobs(&self) -> impl Iterator<Item = (StageId, &'static SettingInfo, &Knob)> {
        let stages = StageId::ALL.iter().zip(&self.knobs);
        stages.flat_map(|(&stage, knobs)| stage.rows().iter().zip(knobs).map(move |(info, knob)| (stage, info, knob)))
    }

    fn read(&self, modulated: bool) -> StripSettings {
        let mut settings = StripSettings { order: self.order(), ..StripSettings::default() };
        for (&stage, knobs) in StageId::ALL.iter().zip(&self.knobs) {
            for (row, (info, knob)) in stage.rows().iter().zip(knobs).enumerate() {
                settings.put(stage, row, knob.value(info, modulated));
            }
        }
        settings
    }

    /// The settings as the parameters say, without what a host adds to them for a while.
    #[must_use]
    pub fn settings(&self) -> StripSettings {
        self.read(false)
    }

    /// The settings that are to be heard now. Does not allocate.
    #[must_use]
    pub fn heard(&self) -> StripSettings {
        self.read(true)
    }

    /// What is to be heard.
    #[must_use]
    pub fn listening(&self) -> Listening {
        let way = match (self.bypass.value(), self.removed.load(Ordering::Relaxed)) {
            (true, _) => Way::Unprocessed,
            (false, true) => Way::Removed,
            (false, false) => Way::Processed,
        };
        Listening { way, matched: self.level_match.value() }
    }

    /// Lets what the strip takes away be heard, or no longer.
    pub fn hear_removed(&self, on: bool) {
        self.removed.store(on, Ordering::Relaxed);
        self.changes.note();
    }

    /// The order of the middle stages.
    #[must_use]
    pub fn order(&self) -> [Middle; MIDDLE] {
        unpacked(self.order.load(Ordering::Relaxed))
    }

    /// Sets the order of the middle stages; every one has to be in it once, as [`StripSettings::check`] demands.
    pub fn set_order(&self, order: [Middle; MIDDLE]) {
        self.order.store(packed(order), Ordering::Relaxed);
        self.changes.note();
    }

    /// How many changes there have been. Nothing has to be read again while it stays.
    #[must_use]
    pub fn changes(&self) -> u32 {
        self.changes.0.load(Ordering::Acquire)
    }

    /// What is known of the voice on this track.
    #[must_use]
    pub fn voice(&self) -> Voice {
        *self.voice.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Remembers what is known of the voice on this track.
    pub fn set_voice(&self, voice: Voice) {
        *self.voice.lock().unwrap_or_else(PoisonError::into_inner) = voice;
    }

    /// Why the last state that was to be loaded was refused; `None` after one that was accepted.
    #[must_use]
    pub fn refused(&self) -> Option<String> {
        self.refused.lock().ok().and_then(|reason| reason.clone())
    }

    /// Remembers whether the last state was refused.
    pub(crate) fn note_refusal(&self, reason: Option<String>) {
        if let Ok(mut refused) = self.refused.lock() {
            *refused = reason;
        }
    }
}

// SAFETY: the pointers point into vectors and fields that are never changed after construction, and the framework keeps
// the `Arc` that owns them.
#[allow(unsafe_code)]
unsafe impl Params for Parameters {
    fn param_map(&self) -> Vec<(String, ParamPtr, String)> {
        let listening = [(BYPASS, &self.bypass), (LEVEL_MATCH, &self.level_match)];
        let listening = listening.map(|(id, param)| (id.to_string(), param.as_ptr(), String::new()));
        let table = self.knobs().map(|(stage, info, knob)| (info.id.into(), knob.pointer(), stage.name().into()));
        listening.into_iter().chain(table).collect()
    }

    fn serialize_fields(&self) -> BTreeMap<String, String> {
        crate::state::fields(self)
    }

    fn deserialize_fields(&self, fields: &BTreeMap<String, String>) {
        crate::state::take_fields(self, fields);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_table_is_a_parameter_with_its_own_id() {
        let parameters = Parameters::default();
        let map = parameters.param_map();
        assert_eq!(map.len(), voicechain_core::settings::rows().count() + 2);
        let ids: std::collections::BTreeSet<_> = map.iter().map(|(id, ..)| id.clone()).collect();
        assert_eq!(ids.len(), map.len());
        for info in voicechain_core::settings::rows() {
            assert!(ids.contains(info.id), "{}", info.id);
        }
        assert_eq!(parameters.settings(), StripSettings::default());
    }

    #[test]
    fn an_order_survives_packing() {
        let parameters = Parameters::default();
        for shift in 0..MIDDLE {
            let mut order = DEFAULT_ORDER;
            order.rotate_left(shift);
            order.swap(0, 2);
            parameters.set_order(order);
            assert_eq!(parameters.order(), order);
        }
    }
}
