//! State that a host saves and loads: the text of a settings file with profile and proposal, in the framework's
//! envelope.
//!
//! - The envelope is JSON with `version`, `params` and `fields`. `fields.settings` is the text and takes precedence.
//! - `params` lists the position of every parameter. Only the two that are not settings are read from it: [`BYPASS`]
//!   and [`LOUDNESS_MATCH`].
//! - A position that corresponds to the value in the text is kept, so that the host reads back the number that it set.
//! - A state with an invalid text changes nothing; [`Parameters::refused`] returns the reason.

use crate::parameters::{BYPASS, LOUDNESS_MATCH, Parameters, TrackAnalysis};
use crate::preferences::Preferences;
use nice_plug::params::Params;
use nice_plug::plugin::{ParamValue, PluginState};
use nice_plug::prelude::{Param, ParamPtr};
use std::collections::BTreeMap;
use voicechain_core::StripSettings;
use voicechain_core::settings::{SettingInfo, rows};
use voicechain_core::units::Unit;
use voicechain_text::SettingsBundle;

const SETTINGS: &str = "settings";
/// Field of the editor preferences; absent while they have their defaults.
const EDITOR: &str = "editor";
const REFUSED: &str = "refused";
/// Reason for refusing a state without settings.
pub(crate) const NOT_A_STATE: &str = "this is not a state of this plugin; load one that it saved";

/// Fields to save.
fn fields(parameters: &Parameters) -> BTreeMap<String, String> {
    let TrackAnalysis { profile, proposed } = parameters.track_analysis();
    let text = voicechain_text::write_bundle(&SettingsBundle { settings: parameters.settings(), proposed, profile });
    let mut fields = text.map(|text| BTreeMap::from([(SETTINGS.to_string(), text)])).unwrap_or_default();
    let preferences = parameters.preferences();
    if preferences != Preferences::default() {
        fields.insert(EDITOR.to_string(), preferences.text());
    }
    fields
}

/// Value of a setting as the framework stores its parameter; `before` is the entry of the loaded state.
fn stored(info: &SettingInfo, value: f64, before: Option<&ParamValue>) -> ParamValue {
    match (info.unit, before) {
        (Unit::Switch, _) => ParamValue::Bool(value >= 0.5),
        (Unit::Choice, _) => ParamValue::I32(value as i32),
        (_, Some(&ParamValue::F32(at))) if (0.0..=1.0).contains(&at) && maps_to(info, at, value) => ParamValue::F32(at),
        _ => ParamValue::F32(info.position_of(value) as f32),
    }
}

/// Whether a position corresponds to the rounded value.
fn maps_to(info: &SettingInfo, position: f32, value: f64) -> bool {
    info.value_at(f64::from(position)) == info.rounded(value)
}

/// Replaces the parameters of a state by those of its text, or by the reason if the text is refused. Called before the
/// framework reads the state.
pub(crate) fn filter(state: &mut PluginState) {
    let settings = match state.fields.get(SETTINGS) {
        Some(text) => voicechain_text::read(text).map_err(|error| error.to_string()),
        None => Err(NOT_A_STATE.to_string()),
    };
    match settings {
        Ok(settings) => {
            let mut params = parameters_of(&settings, &state.params);
            for id in [BYPASS, LOUDNESS_MATCH] {
                let on = matches!(state.params.get(id), Some(ParamValue::Bool(true)));
                params.insert(id.to_string(), ParamValue::Bool(on));
            }
            state.params = params;
        }
        Err(reason) => {
            nice_plug::prelude::nice_warn!("state refused: {reason}");
            state.params.clear();
            state.fields = BTreeMap::from([(REFUSED.to_string(), reason)]);
        }
    }
}

/// Parameters for all rows of the table, as the framework stores them.
fn parameters_of(settings: &StripSettings, before: &BTreeMap<String, ParamValue>) -> BTreeMap<String, ParamValue> {
    let value = |info: &SettingInfo| settings.get(info.id).unwrap_or(info.default);
    rows().map(|info| (info.id.to_string(), stored(info, value(info), before.get(info.id)))).collect()
}

/// Applies the fields that are not parameters: order, profile, proposal, editor preferences, reason of a refusal.
fn take_fields(parameters: &Parameters, fields: &BTreeMap<String, String>) {
    if let Some(Ok(SettingsBundle { settings, proposed, profile })) =
        fields.get(SETTINGS).map(|text| voicechain_text::read_bundle(text))
    {
        if let Some(preferences) = fields.get(EDITOR).and_then(|text| Preferences::read(text)) {
            parameters.set_preferences(preferences);
        }
        parameters.set_order(settings.order);
        parameters.set_track_analysis(TrackAnalysis { profile, proposed });
    }
    parameters.note_refusal(fields.get(REFUSED).cloned());
}

// SAFETY: the pointers point into vectors and fields that never change after construction, and the framework keeps the
// `Arc` that owns them.
#[allow(unsafe_code)]
unsafe impl Params for Parameters {
    fn param_map(&self) -> Vec<(String, ParamPtr, String)> {
        let monitoring = [(BYPASS, &self.bypass), (LOUDNESS_MATCH, &self.loudness_match)];
        let monitoring = monitoring.map(|(id, param)| (id.to_string(), param.as_ptr(), String::new()));
        let table =
            self.table().map(|(stage, info, parameter)| (info.id.into(), parameter.pointer(), stage.name().into()));
        monitoring.into_iter().chain(table).collect()
    }

    fn serialize_fields(&self) -> BTreeMap<String, String> {
        fields(self)
    }

    fn deserialize_fields(&self, fields: &BTreeMap<String, String>) {
        take_fields(self, fields);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_row_of_the_table_is_a_parameter_with_its_own_id() {
        let parameters = Parameters::default();
        let map = parameters.param_map();
        assert_eq!(map.len(), rows().count() + 2);
        let ids: BTreeSet<_> = map.iter().map(|(id, ..)| id.clone()).collect();
        assert_eq!(ids.len(), map.len());
        for info in rows() {
            assert!(ids.contains(info.id), "{}", info.id);
        }
        assert_eq!(parameters.settings(), StripSettings::default());
    }
}
