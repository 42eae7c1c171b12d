//! The commands of a person for all settings at once: starting points, copy, paste, undo. For the main thread; an editor
//! gives them buttons.
//!
//! Settings reach the strip only through the host, as automation gestures, so that the host can record and undo them too.

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
    /// What was sent last, and the count of changes then: a host may take its time to hand it over.
    sent: Option<(StripSettings, u32)>,
}

/// The settings of one instance as a whole.
#[derive(Debug)]
pub struct Commands {
    parameters: Arc<Parameters>,
    state: Mutex<State>,
}

impl Commands {
    /// The commands of an instance.
    #[must_use]
    pub fn new(parameters: Arc<Parameters>) -> Self {
        Self { parameters, state: Mutex::default() }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The settings as they are, or will be when the host has handed over what was sent.
    fn now(&self, state: &State) -> StripSettings {
        match state.sent {
            Some((settings, changes)) if changes == self.parameters.change_count() => settings,
            _ => self.parameters.settings(),
        }
    }

    /// Moves every parameter that differs, one gesture each, and the order. Parameters that already mean the wanted value
    /// are not touched.
    fn send(&self, settings: &StripSettings, state: &mut State, host: &dyn Gestures) {
        let (now, mut sent) = (self.now(state), *settings);
        for (_, info, parameter) in self.parameters.table() {
            let value = info.rounded(settings.get(info.id).unwrap_or(info.default));
            // A value of the row is accepted.
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

    /// The settings as they are become a step that can be gone back to: a person takes hold of something.
    pub fn record_undo_step(&self) {
        let mut state = self.state();
        let now = self.now(&state);
        state.steps.push_if_changed(now);
    }

    /// True if there is a step to take back, and one to take again.
    #[must_use]
    pub fn can_undo_redo(&self) -> [bool; 2] {
        let state = self.state();
        state.steps.can_undo_redo(&self.now(&state))
    }

    /// Applies settings as one step that can be undone; false, and nothing else, for settings that are not allowed.
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

    /// Applies a starting point.
    pub fn start_from(&self, point: StartingPoint, host: &dyn Gestures) -> bool {
        self.apply(&point.settings(), host)
    }

    /// Takes the last step back; false if there is none.
    pub fn undo(&self, host: &dyn Gestures) -> bool {
        let mut state = self.state();
        let now = self.now(&state);
        let Some(settings) = state.steps.undo(now) else { return false };
        self.send(&settings, &mut state, host);
        true
    }

    /// Takes the last step that was taken back again; false if there is none.
    pub fn redo(&self, host: &dyn Gestures) -> bool {
        let mut state = self.state();
        let now = self.now(&state);
        let Some(settings) = state.steps.redo(now) else { return false };
        self.send(&settings, &mut state, host);
        true
    }

    /// Proposes settings for the voice on this track, applies them, and remembers them for copying and carrying over.
    pub fn propose(&self, profile: &Profile, context: Context, host: &dyn Gestures) -> Proposal {
        let proposal = propose(profile, context);
        // As the parameters will have them, so that nothing but a person's change counts as one.
        let settings = proposal.settings.rounded();
        self.parameters.set_track_analysis(TrackAnalysis { profile: Some(*profile), proposed: Some(settings) });
        self.apply(&settings, host);
        proposal
    }

    /// What was proposed for the voice on this track.
    #[must_use]
    pub fn proposed(&self) -> Option<StripSettings> {
        self.parameters.track_analysis().proposed
    }

    /// The text for the clipboard: that of a settings file, with what was measured about this voice and proposed for it.
    ///
    /// # Errors
    /// None in practice: the parameters hold settings that are allowed.
    pub fn copy(&self) -> Result<String, TextError> {
        let state = self.state();
        let TrackAnalysis { profile, proposed } = self.parameters.track_analysis();
        voicechain_text::write_bundle(&SettingsBundle { settings: self.now(&state), proposed, profile })
    }

    /// Applies the settings of a text as they are. What is known of the voice on this track stays.
    ///
    /// # Errors
    /// A text that is no settings text, with the reason; nothing is changed then.
    pub fn paste(&self, text: &str, host: &dyn Gestures) -> Result<(), TextError> {
        let settings = voicechain_text::read(text)?;
        self.apply(&settings, host);
        Ok(())
    }

    /// Applies what the person of another track changed on its proposal to what is proposed for the voice on this one.
    ///
    /// # Errors
    /// A text that is no settings text; a text without a proposal, or a track without a profile, with what to do. Nothing
    /// is changed then.
    pub fn carry_over(
        &self,
        text: &str,
        profile: &Profile,
        context: Context,
        host: &dyn Gestures,
    ) -> Result<(), TextError> {
        let bundle = voicechain_text::read_bundle(text)?;
        // A voice that was measured but never proposed for: what would have been is where its person began.
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

    /// A host that does what it is told and writes it down.
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
    fn what_is_applied_arrives_as_whole_gestures_and_can_be_undone() {
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
        assert!(host.lines.borrow().is_empty(), "what is there already is not touched");
        // Five starting points; the last one, taken twice, changed nothing the second time.
        for _ in 0..5 {
            assert!(commands.undo(&host));
        }
        assert_eq!(host.parameters.settings(), start);
        assert!(!commands.undo(&host));
        assert!(commands.redo(&host));
        assert_eq!(host.parameters.settings(), StartingPoint::ALL[0].settings());
    }

    #[test]
    fn a_move_is_an_undo_step_and_a_grab_without_a_move_is_none() {
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
        assert_eq!(host.parameters.settings().trim.gain_db, 0.0, "a hold without a move is passed over");
        assert_eq!(commands.can_undo_redo(), [false, true]);
        assert!(commands.redo(&host));
        assert_eq!(host.parameters.settings().trim.gain_db, 6.0);
    }

    #[test]
    fn what_is_copied_is_pasted_as_it_is() {
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
        let mut wild = settings;
        wild.trim.gain_db = f64::NAN;
        assert!(!second.apply(&wild, &second_host));
        assert_eq!(second_host.parameters.settings(), settings);
    }

    /// A voice of so much loudness and so low a pitch, of which nothing else is known.
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
    fn what_a_person_changed_is_carried_over_to_another_voice() {
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
        // 2 dB more in the tone EQ, and the compressor off: both arrive, the trim stays the other voice's own.
        let mut liked = first_host.parameters.settings();
        liked.tone_eq.bell_gain_db += 2.0;
        liked.compressor.on = !liked.compressor.on;
        assert!(first.apply(&liked, &first_host));
        second.carry_over(&first.copy().unwrap(), &b, context, &second_host).unwrap();
        let carried = second_host.parameters.settings();
        assert_eq!(carried.tone_eq.bell_gain_db, own.tone_eq.bell_gain_db + 2.0);
        assert_eq!(carried.compressor.on, liked.compressor.on);
        assert_eq!(carried.trim, own.trim);
        assert_ne!(own.trim, liked.trim);
        assert!(second.undo(&second_host));
        assert_eq!(second_host.parameters.settings(), own);
        // A text with a profile and no proposal: as if it had been proposed.
        let bare = SettingsBundle { settings: liked, proposed: None, profile: Some(a) };
        let text = voicechain_text::write_bundle(&bare).unwrap();
        second.carry_over(&text, &b, context, &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), carried);
        // Pasted instead, they are what the other track has, and this voice is still known.
        second.paste(&first.copy().unwrap(), &second_host).unwrap();
        assert_eq!(second_host.parameters.settings(), liked);
        assert_eq!(second.proposed(), Some(own));
    }
}
