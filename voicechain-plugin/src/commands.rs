//! Commands that change all settings at once: starting points, propose, copy, paste, carry over, undo. For the main
//! thread.
//!
//! Settings reach the strip only through the host, as automation gestures. The host can therefore record and undo them
//! too.

use crate::gestures::{Gestures, gesture};
use crate::parameters::{Parameters, TrackAnalysis};
use crate::undo::UndoHistory;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use voicechain_core::StripSettings;
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, carry_over, propose};
use voicechain_core::strip::StartingPoint;
use voicechain_text::{SettingsBundle, TextError};

#[derive(Debug, Default)]
struct State {
    steps: UndoHistory,
    /// Settings sent last, and the change count at that time: the host may deliver them later.
    sent: Option<(StripSettings, u32)>,
}

/// Commands on all settings of one instance, with undo history.
#[derive(Debug)]
pub struct Commands {
    parameters: Arc<Parameters>,
    state: Mutex<State>,
}

impl Commands {
    /// Commands for these parameters.
    #[must_use]
    pub fn new(parameters: Arc<Parameters>) -> Self {
        Self { parameters, state: Mutex::default() }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Current settings, or those sent last while the host has not delivered them.
    fn now(&self, state: &State) -> StripSettings {
        match state.sent {
            Some((settings, changes)) if changes == self.parameters.change_count() => settings,
            _ => self.parameters.settings(),
        }
    }

    /// Moves every parameter that differs, one gesture each, and sets the order. Parameters that already have the
    /// wanted value are not touched.
    fn send(&self, settings: &StripSettings, state: &mut State, host: &dyn Gestures) {
        let (now, mut sent) = (self.now(state), *settings);
        for (_, info, parameter) in self.parameters.table() {
            let value = info.rounded(settings.get(info.id).unwrap_or(info.default));
            // A rounded value of the row is always accepted.
            let _ = sent.set(info.id, value);
            if now.get(info.id) == Some(value) {
                continue;
            }
            gesture(parameter.pointer(), parameter.normalised(info, value), host);
        }
        if settings.order != self.parameters.order() {
            self.parameters.set_order(settings.order);
        }
        state.sent = Some((sent, self.parameters.change_count()));
    }

    /// Records the current settings as an undo step, at the beginning of a gesture.
    pub fn record_undo_step(&self) {
        let mut state = self.state();
        let now = self.now(&state);
        state.steps.push_if_changed(now);
    }

    /// Whether undo and redo are possible.
    #[must_use]
    pub fn can_undo_redo(&self) -> [bool; 2] {
        let state = self.state();
        state.steps.can_undo_redo(&self.now(&state))
    }

    /// Applies settings as one undo step. Returns false and changes nothing if the settings are not allowed.
    pub fn apply(&self, settings: &StripSettings, host: &dyn Gestures) -> bool {
        if settings.check().is_err() {
            return false;
        }
        let mut state = self.state();
        let now = self.now(&state);
        state.steps.push(now);
        self.send(settings, &mut state, host);
        true
    }

    /// Applies a starting point, as [`apply`](Self::apply).
    pub fn start_from(&self, point: StartingPoint, host: &dyn Gestures) -> bool {
        self.apply(&point.settings(), host)
    }

    /// Undoes the last step; returns false if there is none.
    pub fn undo(&self, host: &dyn Gestures) -> bool {
        let mut state = self.state();
        let now = self.now(&state);
        let Some(settings) = state.steps.undo(now) else { return false };
        self.send(&settings, &mut state, host);
        true
    }

    /// Redoes the last undone step; returns false if there is none.
    pub fn redo(&self, host: &dyn Gestures) -> bool {
        let mut state = self.state();
        let now = self.now(&state);
        let Some(settings) = state.steps.redo(now) else { return false };
        self.send(&settings, &mut state, host);
        true
    }

    /// Proposes settings for the voice on this track, applies them, and stores them for copying and carrying over.
    pub fn propose(&self, profile: &Profile, context: Context, host: &dyn Gestures) -> Proposal {
        let proposal = propose(profile, context);
        // Rounded as the parameters round, so that only a user's change counts as a change.
        let settings = proposal.settings.rounded();
        self.parameters.set_track_analysis(TrackAnalysis { profile: Some(*profile), proposed: Some(settings) });
        self.apply(&settings, host);
        proposal
    }

    /// Settings that were proposed for the voice on this track.
    #[must_use]
    pub fn proposed(&self) -> Option<StripSettings> {
        self.parameters.track_analysis().proposed
    }

    /// Text for the clipboard: a settings file with the profile of this voice and the proposal for it.
    ///
    /// # Errors
    /// None in practice: the parameters hold allowed settings.
    pub fn copy(&self) -> Result<String, TextError> {
        let state = self.state();
        let TrackAnalysis { profile, proposed } = self.parameters.track_analysis();
        voicechain_text::write_bundle(&SettingsBundle { settings: self.now(&state), proposed, profile })
    }

    /// Applies the settings of a text unchanged. Profile and proposal of this track stay.
    ///
    /// # Errors
    /// The reason if the text is not a settings text; nothing is changed then.
    pub fn paste(&self, text: &str, host: &dyn Gestures) -> Result<(), TextError> {
        let settings = voicechain_text::read(text)?;
        self.apply(&settings, host);
        Ok(())
    }

    /// Applies the changes that a user made to another track's proposal to the proposal for the voice on this track.
    ///
    /// # Errors
    /// If the text is not a settings text, or has neither proposal nor profile; the error says what to do. Nothing is
    /// changed then.
    pub fn carry_over(
        &self,
        text: &str,
        profile: &Profile,
        context: Context,
        host: &dyn Gestures,
    ) -> Result<(), TextError> {
        let bundle = voicechain_text::read_bundle(text)?;
        // The voice was measured, but nothing was proposed: the changes are relative to the proposal it would have had.
        let recomputed = || bundle.profile.map(|other| propose(&other, context).settings.rounded());
        let Some(proposed) = bundle.proposed.or_else(recomputed) else {
            return Err(TextError {
                what: "the settings were copied from a track whose voice was not measured".into(),
                advice: "measure and propose there first, or paste them as they are",
            });
        };
        let own = propose(profile, context).settings.rounded();
        self.parameters.set_track_analysis(TrackAnalysis { profile: Some(*profile), proposed: Some(own) });
        self.apply(&carry_over(&bundle.settings, &proposed, &own).rounded(), host);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parameter::Parameter;
    use nice_plug::params::InternalParamMut;
    use nice_plug::prelude::ParamPtr;
    use std::cell::RefCell;
    use voicechain_core::measure::profile::{
        BackgroundNoise, Clipping, Level, Pitch, SignalClass, THIRD_OCTAVES, Unavailable,
    };

    /// Host that applies gestures and records them.
    struct RecordingHost {
        parameters: Arc<Parameters>,
        lines: RefCell<Vec<(&'static str, ParamPtr)>>,
    }

    impl RecordingHost {
        fn new() -> (Self, Commands) {
            let parameters = Arc::new(Parameters::default());
            let commands = Commands::new(Arc::clone(&parameters));
            (Self { parameters, lines: RefCell::default() }, commands)
        }
    }

    #[allow(unsafe_code)]
    impl Gestures for RecordingHost {
        fn begin(&self, parameter: ParamPtr) {
            self.lines.borrow_mut().push(("begin", parameter));
        }
        fn set(&self, parameter: ParamPtr, normalised: f32) {
            self.lines.borrow_mut().push(("set", parameter));
            for (_, _, own) in self.parameters.table().filter(|(_, _, own)| own.pointer() == parameter) {
                // SAFETY: the parameter lives as long as this test.
                unsafe {
                    match own {
                        Parameter::Position(param) => param._internal_set_normalized_value(normalised),
                        Parameter::Choice(param) => param._internal_set_normalized_value(normalised),
                        Parameter::Switch(param) => param._internal_set_normalized_value(normalised),
                    }
                };
            }
        }
        fn end(&self, parameter: ParamPtr) {
            self.lines.borrow_mut().push(("end", parameter));
        }
    }

    #[test]
    fn applied_settings_arrive_as_whole_gestures_and_can_be_undone() {
        let (host, commands) = RecordingHost::new();
        let start = host.parameters.settings();
        for point in StartingPoint::ALL {
            assert!(commands.start_from(point, &host));
            assert_eq!(host.parameters.settings(), point.settings());
        }
        for gesture in host.lines.borrow().chunks(3) {
            assert_eq!([gesture[0].0, gesture[1].0, gesture[2].0], ["begin", "set", "end"]);
            assert!(gesture[0].1 == gesture[1].1 && gesture[1].1 == gesture[2].1);
        }
        host.lines.borrow_mut().clear();
        assert!(commands.start_from(StartingPoint::ALL[4], &host));
        assert!(host.lines.borrow().is_empty(), "parameters that already have the value are not touched");
        // Five starting points; applying the last one again changed nothing.
        for _ in 0..5 {
            assert!(commands.undo(&host));
        }
        assert_eq!(host.parameters.settings(), start);
        assert!(!commands.undo(&host));
        assert!(commands.redo(&host));
        assert_eq!(host.parameters.settings(), StartingPoint::ALL[0].settings());
    }

    #[test]
    fn a_gesture_with_a_move_is_an_undo_step_and_one_without_is_not() {
        let (host, commands) = RecordingHost::new();
        assert_eq!(commands.can_undo_redo(), [false, false]);
        commands.record_undo_step();
        assert_eq!(commands.can_undo_redo(), [false, false]);
        let (_, info, parameter) = host.parameters.table().next().unwrap();
        host.set(parameter.pointer(), parameter.normalised(info, 6.0));
        assert_eq!(host.parameters.settings().trim.gain_db, 6.0);
        commands.record_undo_step();
        assert_eq!(commands.can_undo_redo(), [true, false]);
        assert!(commands.undo(&host));
        assert_eq!(host.parameters.settings().trim.gain_db, 0.0, "a gesture without a move is skipped");
        assert_eq!(commands.can_undo_redo(), [false, true]);
        assert!(commands.redo(&host));
        assert_eq!(host.parameters.settings().trim.gain_db, 6.0);
    }

    #[test]
    fn copied_settings_are_pasted_unchanged() {
        let ((first_host, first), (second_host, second)) = (RecordingHost::new(), RecordingHost::new());
        let mut settings = StartingPoint::SungInMix.settings();
        settings.order.reverse();
        settings.compressor.ratio = f64::INFINITY;
        assert!(first.apply(&settings, &first_host));
        let text = first.copy().unwrap();
        second.paste(&text, &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), settings);
        assert_eq!(voicechain_text::read_bundle(&text).unwrap().proposed, None);
        for wrong in ["", "format = 2", "hello", &text[..text.len() - 3], "format = 1\n[trim]\ngain_db = 99.0"] {
            second_host.lines.borrow_mut().clear();
            if second.paste(wrong, &second_host).is_err() {
                assert!(second_host.lines.borrow().is_empty(), "{wrong:?}");
                assert_eq!(second_host.parameters.settings(), settings);
            }
        }
        let mut invalid = settings;
        invalid.trim.gain_db = f64::NAN;
        assert!(!second.apply(&invalid, &second_host));
        assert_eq!(second_host.parameters.settings(), settings);
    }

    /// Profile of a voice with this loudness and lowest pitch; most other quantities are unavailable.
    fn voice(integrated_lufs: f64, low_hz: f64) -> Profile {
        let unknown = Unavailable::TooShort;
        Profile {
            rate_hz: 48_000.0,
            duration_s: 60.0,
            channels: 1,
            signal_class: SignalClass::Voice,
            level: Level {
                integrated_lufs: Ok(integrated_lufs),
                loudness_range_lu: Ok(5.0),
                true_peak_dbtp: -5.0,
                sample_peak_dbfs: -5.2,
                clipping: Clipping::default(),
                active_level_dbov: Ok(integrated_lufs + 1.0),
                activity_percent: 70.0,
                active_s: 42.0,
                crest_db: Ok(18.8),
                speech_peak_dbfs: Ok(integrated_lufs + 15.0),
            },
            level_consistency: Err(unknown),
            transients: Err(unknown),
            background_noise: BackgroundNoise {
                noise_floor_dbfs: Ok(-70.0),
                noise_bands_dbfs: [-85.0; THIRD_OCTAVES],
                snr_db: Ok(46.0),
                rumble_dbfs: -75.0,
                dc_offset: 0.0,
            },
            hum: Err(unknown),
            pitch: Ok(Pitch { low_hz, median_hz: 1.25 * low_hz, high_hz: 1.7 * low_hz, voiced_share: 0.6 }),
            tonal_balance: Err(unknown),
            bandwidth: Err(unknown),
            resonances: Err(unknown),
            sibilance: Err(unknown),
            reverberation: Err(unknown),
        }
    }

    #[test]
    fn changes_of_the_user_are_carried_over_to_another_voice() {
        let ((first_host, first), (second_host, second)) = (RecordingHost::new(), RecordingHost::new());
        let (a, b) = (voice(-25.0, 100.0), voice(-30.0, 200.0));
        let context = Context::default();
        assert!(second.carry_over(&first.copy().unwrap(), &b, context, &second_host).is_err(), "nothing was proposed");
        assert_eq!(second_host.parameters.settings(), StripSettings::default());

        let proposal = first.propose(&a, context, &first_host);
        assert_eq!(first_host.parameters.settings(), proposal.settings.rounded());
        assert_eq!(first.proposed(), Some(proposal.settings.rounded()));
        let bundle = voicechain_text::read_bundle(&first.copy().unwrap()).unwrap();
        assert_eq!((bundle.profile, bundle.proposed), (Some(a), Some(proposal.settings.rounded())));
        // Nothing changed: the other voice gets its own proposal.
        let own = propose(&b, context).settings.rounded();
        second.carry_over(&first.copy().unwrap(), &b, context, &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), own);
        // 2 dB more in the tone EQ and the compressor toggled: both are carried over; the trim stays that of the other
        // voice.
        let mut changed = first_host.parameters.settings();
        changed.tone_eq.bell_gain_db += 2.0;
        changed.compressor.on = !changed.compressor.on;
        assert!(first.apply(&changed, &first_host));
        second.carry_over(&first.copy().unwrap(), &b, context, &second_host).unwrap();
        let carried = second_host.parameters.settings();
        assert_eq!(carried.tone_eq.bell_gain_db, own.tone_eq.bell_gain_db + 2.0);
        assert_eq!(carried.compressor.on, changed.compressor.on);
        assert_eq!(carried.trim, own.trim);
        assert_ne!(own.trim, changed.trim);
        assert!(second.undo(&second_host));
        assert_eq!(second_host.parameters.settings(), own);
        // A text with a profile but no proposal gives the same result as with the proposal.
        let without_proposal = SettingsBundle { settings: changed, proposed: None, profile: Some(a) };
        let text = voicechain_text::write_bundle(&without_proposal).unwrap();
        second.carry_over(&text, &b, context, &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), carried);
        // Pasted settings equal those of the other track; the profile of this voice stays.
        second.paste(&first.copy().unwrap(), &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), changed);
        assert_eq!(second.proposed(), Some(own));
    }
}
