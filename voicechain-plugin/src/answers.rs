//! What the page asks for, done on the instance.

use crate::clipboard;
use crate::connection::Connection;
use crate::files::Outcome;
use crate::gestures::{Gestures, gesture};
use crate::parameter::Parameter;
use nice_plug::prelude::{Param, ParamPtr};
use std::fmt::Display;
use voicechain_core::StripSettings;
use voicechain_core::propose::Context;
use voicechain_core::settings::SectionId;
use voicechain_core::strip::Way;
use voicechain_editor::{Ask, Filing};

/// What the page says of it, empty for nothing; or why it could not be done.
type Said = Result<String, String>;

/// What needs no words.
const QUIET: Said = Ok(String::new());

/// An error as the page says it.
fn reason(error: impl Display) -> String {
    error.to_string()
}

impl Connection {
    /// Answers one thing that the page asked for; gives a text to put on the system's clipboard.
    pub(crate) fn answer(&mut self, ask: Ask, host: &dyn Gestures) -> Option<String> {
        let mut clip = None;
        let commands = &self.instance.commands;
        let said = match ask {
            Ask::Begin(section, row) => {
                commands.hold();
                self.with(section, row, |pointer, _| host.begin(pointer));
                return None;
            }
            Ask::Set(section, row, value) => {
                self.set(section, row, value, host);
                return None;
            }
            Ask::End(section, row) => {
                self.with(section, row, |pointer, _| host.end(pointer));
                return None;
            }
            Ask::Measure => self.measure(),
            Ask::StopMeasuring => self.stop_measuring(),
            Ask::Propose => self.propose(host),
            Ask::CarryOver => self.carry_over(host),
            Ask::Undo => {
                commands.undo(host);
                QUIET
            }
            Ask::Redo => {
                commands.redo(host);
                QUIET
            }
            Ask::Copy => commands.copy().map_err(reason).map(|text| {
                clipboard::copy(&text);
                clip = Some(text);
                "copied".into()
            }),
            Ask::Paste(text) => {
                let text = text.or_else(clipboard::text).unwrap_or_default();
                commands.paste(&text, host).map(|()| "pasted".into()).map_err(reason)
            }
            Ask::StartFrom(point) => {
                commands.start_from(point, host);
                Ok(point.name().into())
            }
            Ask::Order(order) => {
                commands.apply(&StripSettings { order, ..self.instance.parameters.settings() }, host);
                QUIET
            }
            Ask::Listen(way) => self.listen(way, host),
            Ask::Match(on) => self.match_loudness(on, host),
            Ask::Hear(part) => {
                self.instance.parameters.hear_part(part);
                QUIET
            }
            Ask::Choose(filing) => self.choose(filing),
            Ask::File { path, replace } => self.files.typed(&path, replace).map_err(reason).and(QUIET),
            Ask::NoFile => {
                self.files.leave();
                QUIET
            }
        };
        self.message = Some(said.unwrap_or_else(|reason| reason)).filter(|text| !text.is_empty());
        clip
    }

    /// Finds the parameter of a row, with the pointer that the host knows it by.
    fn with(&self, section: SectionId, row: usize, then: impl FnOnce(ParamPtr, &Parameter)) {
        let mut rows = self.instance.parameters.table().filter(|(of, ..)| *of == section);
        if let Some((_, _, parameter)) = rows.nth(row) {
            then(parameter.pointer(), parameter);
        }
    }

    /// Gives a row a value, inside a gesture that has begun.
    fn set(&self, section: SectionId, row: usize, value: f64, host: &dyn Gestures) {
        let info = &section.rows()[row];
        self.with(section, row, |pointer, parameter| host.set(pointer, parameter.normalised(info, value)));
    }

    /// Measures anew: what was known of the voice is no longer shown.
    fn measure(&mut self) -> Said {
        (self.profile, self.proposal) = (None, None);
        self.instance.measure().map_err(reason).and(QUIET)
    }

    /// Ends measuring; the page is shown at once what came of it.
    fn stop_measuring(&mut self) -> Said {
        self.instance.stop_measuring();
        (self.asked, self.profile) = (None, None);
        QUIET
    }

    /// A voice that was measured here counts, if enough of it was heard; else what a state brought along.
    fn propose(&self, host: &dyn Gestures) -> Said {
        let profile = self.profile.as_ref().ok_or("no voice was measured yet")?;
        if self.instance.measured().is_some() {
            self.instance.propose(Context::default(), host).map_err(reason)?;
        } else {
            self.instance.commands.propose(profile, Context::default(), host);
        }
        Ok("applied; undo takes it back".into())
    }

    /// As for [`propose`](Self::propose).
    fn carry_over(&self, host: &dyn Gestures) -> Said {
        let text = clipboard::text().unwrap_or_default();
        let carried = match (self.instance.measured(), &self.profile) {
            (None, Some(profile)) => self.instance.commands.carry_over(&text, profile, Context::default(), host),
            _ => self.instance.carry_over(&text, Context::default(), host),
        };
        carried.map(|()| "carried over".into()).map_err(reason)
    }

    /// The unprocessed voice is the host's bypass; what is removed is a way of listening of our own.
    fn listen(&self, way: Way, host: &dyn Gestures) -> Said {
        let parameters = &self.instance.parameters;
        parameters.hear_removed(way == Way::Removed);
        let bypass = way == Way::Unprocessed;
        if parameters.bypass.value() != bypass {
            gesture(parameters.bypass.as_ptr(), parameters.bypass.preview_normalized(bypass), host);
        }
        QUIET
    }

    /// Sets unprocessed and processed voice to the same loudness, or no longer.
    fn match_loudness(&self, on: bool, host: &dyn Gestures) -> Said {
        let parameter = &self.instance.parameters.level_match;
        gesture(parameter.as_ptr(), parameter.preview_normalized(on), host);
        QUIET
    }

    /// Lets a file be chosen, into which the settings as they are now would be saved.
    fn choose(&mut self, filing: Filing) -> Said {
        let text = self.instance.commands.copy().map_err(reason)?;
        self.files.choose(filing, text, &self.name).map_err(reason).and(QUIET)
    }

    /// What came of a settings file.
    pub(crate) fn filed(&mut self, host: &dyn Gestures) {
        let Some(outcome) = self.files.outcome() else { return };
        let name = |path: &std::path::Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.message = match outcome {
            Outcome::Saved(path) => Some(format!("saved as {}", path.display())),
            Outcome::Read(path, text) => Some(match self.instance.commands.paste(&text, host) {
                Ok(()) => format!("{} is applied; undo takes it back", name(&path)),
                Err(error) => format!("{}: {error}", name(&path)),
            }),
            Outcome::Failed(why) => Some(why),
            Outcome::Nothing => Some("no file was chosen".into()),
            Outcome::Taken(_) | Outcome::NoWindow => None,
        };
    }
}
