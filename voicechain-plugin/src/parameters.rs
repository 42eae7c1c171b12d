//! The host's parameters: one per row of the core's table of settings, and two for listening.
//!
//! The host sees positions from 0 to 1 and texts with units; what they mean is the core's
//! [`SettingInfo::value_at`](voicechain_core::settings::SettingInfo::value_at) and
//! [`text`](voicechain_core::settings::SettingInfo::text). The ids are those of the table and never change.

use nice_plug::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::StripSettings;
use voicechain_core::measure::Profile;
use voicechain_core::settings::{DEFAULT_ORDER, MIDDLE, Middle, SettingInfo, StageId};
use voicechain_core::strip::{Listening, Part, Way};
use voicechain_core::units::Unit;

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

    /// A value of the row as the framework stores it, 0 to 1.
    #[must_use]
    pub fn normalised(&self, info: &SettingInfo, value: f64) -> f32 {
        match self {
            Self::Position(_) => info.position_of(value) as f32,
            Self::Choice(param) => param.preview_normalized(value as i32),
            Self::Switch(param) => param.preview_normalized(value >= 0.5),
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

/// How the person at this track likes the editor. Saved, but not a parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// The dark colours.
    pub dark: bool,
    /// Zoom on top of the display's own, from 1 to 3.
    pub zoom: f32,
    /// Size of the window, points.
    pub size: [f32; 2],
}

impl Default for Habits {
    fn default() -> Self {
        Self { dark: false, zoom: voicechain_editor::ZOOM[0], size: voicechain_editor::FIRST }
    }
}

impl Habits {
    /// As text for a state: `dark 1.25 1300x900`.
    #[must_use]
    pub fn text(&self) -> String {
        let look = if self.dark { "dark" } else { "light" };
        format!("{look} {} {}x{}", self.zoom, self.size[0], self.size[1])
    }

    /// Reads [`text`](Self::text); what is out of range is brought into it, and `None` is no such text.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let mut parts = text.split(' ');
        let dark = match parts.next()? {
            "dark" => true,
            "light" => false,
            _ => return None,
        };
        let number = |text: &str| text.parse().ok().filter(|number: &f32| number.is_finite());
        let zoom = number(parts.next()?)?.clamp(voicechain_editor::ZOOM[0], voicechain_editor::ZOOM[1]);
        let (width, height) = parts.next()?.split_once('x')?;
        let [least_width, least_height] = voicechain_editor::SMALLEST;
        let size = [number(width)?.clamp(least_width, 8_192.0), number(height)?.clamp(least_height, 8_192.0)];
        Some(Self { dark, zoom, size })
    }
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
    /// The part that is heard: frequency, gain, Q, as bits; 0 where it has none.
    part: [AtomicU64; 3],
    changes: Arc<Changes>,
    /// What is known of the voice on this track; saved, but not a parameter.
    voice: Mutex<Voice>,
    /// How the editor is liked.
    habits: Mutex<Habits>,
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
            part: Default::default(),
            changes,
            voice: Mutex::default(),
            habits: Mutex::default(),
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

    /// The part of the recording that is to be heard.
    #[must_use]
    pub fn part(&self) -> Part {
        let [frequency_hz, gain_db, q] = self.part.each_ref().map(|bits| f64::from_bits(bits.load(Ordering::Relaxed)));
        match (frequency_hz, gain_db) {
            (0.0, _) => Part::Whole,
            (_, 0.0) => Part::Band { frequency_hz, q },
            _ => Part::Cut { frequency_hz, gain_db, q },
        }
    }

    /// Lets a part of the recording be heard alone, or all of it again. Neither saved nor a parameter.
    pub fn hear_part(&self, part: Part) {
        let numbers = match part {
            Part::Whole => [0.0; 3],
            Part::Band { frequency_hz, q } => [frequency_hz, 0.0, q],
            Part::Cut { frequency_hz, gain_db, q } => [frequency_hz, gain_db, q],
        };
        // Whoever reads between two of them reads again: the change is counted after the last.
        for (bits, number) in self.part.iter().zip(numbers) {
            bits.store(f64::to_bits(number), Ordering::Relaxed);
        }
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

    /// How the editor is liked.
    #[must_use]
    pub fn habits(&self) -> Habits {
        self.habits.lock().map_or_else(|_| Habits::default(), |habits| *habits)
    }

    /// Remembers how the editor is liked.
    pub fn set_habits(&self, habits: Habits) {
        if let Ok(mut known) = self.habits.lock() {
            *known = habits;
        }
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
    fn habits_survive_their_text_and_nonsense_is_refused() {
        let habits = Habits { dark: true, zoom: 1.75, size: [1_280.0, 800.5] };
        assert_eq!(Habits::read(&habits.text()), Some(habits));
        assert_eq!(Habits::read("light 9 1x1e9").unwrap().zoom, 3.0);
        for wrong in ["", "dark", "blue 1 2x3", "dark NaN 800x600", "dark 1 800", "dark 1 infx600"] {
            assert_eq!(Habits::read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_part_is_heard_as_it_was_asked_for() {
        let parameters = Parameters::default();
        assert_eq!(parameters.part(), Part::Whole);
        let band = Part::Band { frequency_hz: 455.5, q: 3.3 };
        for part in [band, Part::Cut { frequency_hz: 455.5, gain_db: -6.0, q: 3.3 }, Part::Whole] {
            let before = parameters.changes();
            parameters.hear_part(part);
            assert_eq!(parameters.part(), part);
            assert_ne!(parameters.changes(), before);
        }
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
