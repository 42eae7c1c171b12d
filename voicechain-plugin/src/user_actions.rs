//! Handling of the page's user actions on the instance.

use crate::clipboard;
use crate::editor_controller::EditorController;
use crate::files::Outcome;
use crate::gestures::{Gestures, gesture};
use crate::parameter::Parameter;
use nice_plug::prelude::{Param, ParamPtr};
use std::fmt::Display;
use voicechain_core::StripSettings;
use voicechain_core::propose::Context;
use voicechain_core::settings::SectionId;
use voicechain_core::strip::MonitorMode;
use voicechain_editor::{FileOperation, UserAction};

/// Message for the page, empty for none; or the reason of a failure.
type StatusMessage = Result<String, String>;

/// Success without a message.
const NO_MESSAGE: StatusMessage = Ok(String::new());

/// Error text for the page.
fn reason(error: impl Display) -> String {
    error.to_string()
}

impl EditorController {
    /// Performs one user action; returns a text for the system clipboard, if any.
    pub(crate) fn handle_action(&mut self, action: UserAction, host: &dyn Gestures) -> Option<String> {
        let mut clip = None;
        let commands = &self.instance.commands;
        let status = match action {
            UserAction::BeginGesture(section, row) => {
                commands.record_undo_step();
                self.with_parameter(section, row, |pointer, _| host.begin(pointer));
                return None;
            }
            UserAction::SetValue(section, row, value) => {
                self.set(section, row, value, host);
                return None;
            }
            UserAction::EndGesture(section, row) => {
                self.with_parameter(section, row, |pointer, _| host.end(pointer));
                return None;
            }
            UserAction::StartMeasuring => self.measure(),
            UserAction::StopMeasuring => self.stop_measuring(),
            UserAction::ApplyProposal => self.propose(host),
            UserAction::CarryOver => self.carry_over(host),
            UserAction::Undo => {
                commands.undo(host);
                NO_MESSAGE
            }
            UserAction::Redo => {
                commands.redo(host);
                NO_MESSAGE
            }
            UserAction::Copy => commands.copy().map_err(reason).map(|text| {
                clipboard::copy(&text);
                clip = Some(text);
                "copied".into()
            }),
            UserAction::Paste(text) => {
                let text = text.or_else(clipboard::text).unwrap_or_default();
                commands.paste(&text, host).map(|()| "pasted".into()).map_err(reason)
            }
            UserAction::ApplyStartingPoint(point) => {
                commands.start_from(point, host);
                Ok(point.name().into())
            }
            UserAction::SetOrder(order) => {
                commands.apply(&StripSettings { order, ..self.instance.parameters.settings() }, host);
                NO_MESSAGE
            }
            UserAction::SetMonitorMode(mode) => self.set_monitor_mode(mode, host),
            UserAction::SetLoudnessMatch(on) => self.set_loudness_match(on, host),
            UserAction::SetAuditionBand(audition_band) => {
                self.instance.parameters.set_audition_band(audition_band);
                NO_MESSAGE
            }
            UserAction::ChooseFile(operation) => self.choose(operation),
            UserAction::EnterPath { path, replace } => self.files.typed(&path, replace).map_err(reason).and(NO_MESSAGE),
            UserAction::CancelFile => {
                self.files.cancel();
                NO_MESSAGE
            }
        };
        self.message = Some(status.unwrap_or_else(|reason| reason)).filter(|text| !text.is_empty());
        clip
    }

    /// Calls `then` with the parameter of a row and its host pointer.
    fn with_parameter(&self, section: SectionId, row: usize, then: impl FnOnce(ParamPtr, &Parameter)) {
        let mut rows = self.instance.parameters.table().filter(|(of, ..)| *of == section);
        if let Some((_, _, parameter)) = rows.nth(row) {
            then(parameter.pointer(), parameter);
        }
    }

    /// Sets the value of a row within a gesture that has begun.
    fn set(&self, section: SectionId, row: usize, value: f64, host: &dyn Gestures) {
        let info = &section.rows()[row];
        self.with_parameter(section, row, |pointer, parameter| host.set(pointer, parameter.normalised(info, value)));
    }

    /// Starts a new measurement; the former profile is no longer shown.
    fn measure(&mut self) -> StatusMessage {
        self.instance.measure().map_err(reason)?;
        (self.profile, self.proposal) = (None, None);
        NO_MESSAGE
    }

    /// Ends the measurement; the result is shown at once.
    fn stop_measuring(&mut self) -> StatusMessage {
        self.instance.stop_measuring();
        (self.profile_polled, self.profile) = (None, None);
        NO_MESSAGE
    }

    /// Proposes for the voice measured here, if enough of it was captured; otherwise for the profile of the loaded
    /// state.
    fn propose(&self, host: &dyn Gestures) -> StatusMessage {
        let profile = self.profile.as_ref().ok_or("no voice has been measured yet")?;
        if self.instance.measured().is_some() {
            self.instance.propose(Context::default(), host).map_err(reason)?;
        } else {
            self.instance.commands.propose(profile, Context::default(), host);
        }
        Ok("applied; undo takes it back".into())
    }

    /// Carries over from the clipboard, with the profile as for [`propose`](Self::propose).
    fn carry_over(&self, host: &dyn Gestures) -> StatusMessage {
        let text = clipboard::text().unwrap_or_default();
        let carried = match (self.instance.measured(), &self.profile) {
            (None, Some(profile)) => self.instance.commands.carry_over(&text, profile, Context::default(), host),
            _ => self.instance.carry_over(&text, Context::default(), host),
        };
        carried.map(|()| "carried over".into()).map_err(reason)
    }

    /// Sets the monitor mode. Unprocessed is the host's bypass parameter; removed is a mode of the plugin alone.
    fn set_monitor_mode(&self, mode: MonitorMode, host: &dyn Gestures) -> StatusMessage {
        let parameters = &self.instance.parameters;
        parameters.set_monitor_removed(mode == MonitorMode::Removed);
        let bypass = mode == MonitorMode::Unprocessed;
        if parameters.bypass.value() != bypass {
            gesture(parameters.bypass.as_ptr(), parameters.bypass.preview_normalized(bypass), host);
        }
        NO_MESSAGE
    }

    /// Switches the loudness match of unprocessed and processed signal on or off.
    fn set_loudness_match(&self, on: bool, host: &dyn Gestures) -> StatusMessage {
        let parameter = &self.instance.parameters.loudness_match;
        gesture(parameter.as_ptr(), parameter.preview_normalized(on), host);
        NO_MESSAGE
    }

    /// Starts the choice of a file; with [`FileOperation::Save`] the current settings are saved to it.
    fn choose(&mut self, operation: FileOperation) -> StatusMessage {
        let text = self.instance.commands.copy().map_err(reason)?;
        self.files.choose(operation, text, &self.name).map_err(reason).and(NO_MESSAGE)
    }

    /// Handles the outcome of opening or saving a settings file.
    pub(crate) fn handle_file_outcome(&mut self, host: &dyn Gestures) {
        let Some(outcome) = self.files.outcome() else { return };
        let name = |path: &std::path::Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.message = match outcome {
            Outcome::Saved(path) => Some(format!("saved as {}", path.display())),
            Outcome::Read(path, text) => Some(match self.instance.commands.paste(&text, host) {
                Ok(()) => format!("{} is applied; undo takes it back", name(&path)),
                Err(error) => format!("{}: {error}", name(&path)),
            }),
            Outcome::Failed(reason) => Some(reason),
            Outcome::Cancelled => Some("no file was chosen".into()),
            Outcome::AlreadyExists(_) | Outcome::DialogUnavailable => None,
        };
    }
}
