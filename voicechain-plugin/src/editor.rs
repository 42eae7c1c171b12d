//! The editor's window: what the page shows comes from the [`Handles`], and what it asks for goes to them.
//!
//! The page itself is `voicechain-editor`, which knows nothing of a host. It is redrawn when the meters have something new
//! while sound comes, when the host moves a parameter, and when the person does something; never otherwise.

use crate::desk::Gestures;
use crate::files::{Files, Outcome};
use crate::handles::Handles;
use crate::meters::REDUCING;
use crate::parameters::Habits;
use crate::window::Scale;
use keyboard_types::NamedKey;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::SizeConstraints;
use nice_plug::editor::dpi::LogicalSize;
use nice_plug::prelude::{Param, ParamPtr, ResizeHint, TrackInfo};
use nice_plug_egui::baseview::{HandlerError, WindowSize};
use nice_plug_egui::{
    EguiEditor, EguiEditorState, EguiNiceSettings, Frame, Key, KeyCapture, NiceEguiApp, create_egui_editor,
};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use voicechain_core::SampleRate;
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::settings::StageId;
use voicechain_core::strip::{Ledger, Part, Way};
use voicechain_editor::{Ask, FIRST, History, Moment, Page, SMALLEST, Shown};

/// What was copied last on any track of this process: hosts do not let every editor read the system's clipboard.
static COPIED: Mutex<Option<String>> = Mutex::new(None);
/// While the voice is measured, what is known of it is asked for so often.
const ASK_EVERY: Duration = Duration::from_millis(500);
/// The rate that curves are drawn for before the strip was ever active, Hz.
const USUAL_HZ: f64 = 48_000.0;
/// Redraws per second at most.
const REDRAWS: f64 = 60.0;

fn copied() -> std::sync::MutexGuard<'static, Option<String>> {
    COPIED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The editor of an instance.
pub(crate) fn of(handles: Handles, scale: &Scale) -> Option<(Arc<EguiEditorState>, EguiEditor<Connection>)> {
    let habits = handles.parameters.habits();
    // The framework counts in points of the page, which the zoom makes larger.
    let [width, height] = habits.size.map(|points| points / habits.zoom);
    let state = EguiEditorState::from_size(LogicalSize::new(width, height), habits.zoom);
    let limits = SizeConstraints::Logical {
        min_size: Some(LogicalSize::new(SMALLEST[0] as _, SMALLEST[1] as _)),
        max_size: None,
    };
    let resize_hint = ResizeHint {
        can_resize: true,
        can_resize_horizontally: true,
        can_resize_vertically: true,
        size_constraints: limits,
        ..ResizeHint::NON_RESIZABLE
    };
    let settings = EguiNiceSettings::new()
        .with_tile("voicechain")
        .with_resize_hint(resize_hint)
        .with_repaint_poll_interval(Duration::from_secs_f64(1.0 / REDRAWS));
    let repaint = handles.meters.repaint();
    let editor = create_egui_editor(Arc::clone(&state), repaint, settings, Connection::new(handles, scale.clone()))?;
    Some((state, editor))
}

/// Connects the page with an instance.
pub struct Connection {
    handles: Handles,
    gui: Option<GuiContext>,
    page: Page,
    history: History,
    ledger: Option<Ledger>,
    match_db: [f64; 2],
    name: String,
    profile: Option<Profile>,
    validity: f64,
    proposal: Option<Box<Proposal>>,
    asked: Option<Instant>,
    files: Files,
    message: Option<String>,
    size: [f32; 2],
    scale: Scale,
}

impl Connection {
    pub(crate) fn new(handles: Handles, scale: Scale) -> Self {
        let files = Files::new(handles.meters.repaint());
        Self {
            handles,
            gui: None,
            page: Page::default(),
            history: History::default(),
            ledger: None,
            match_db: [0.0; 2],
            name: String::new(),
            profile: None,
            validity: 1.0,
            proposal: None,
            asked: None,
            files,
            message: None,
            size: FIRST,
            scale,
        }
    }

    /// What the meters said since the last time, and what is known of the voice.
    fn look(&mut self) {
        let (history, ledger, match_db) = (&mut self.history, &mut self.ledger, &mut self.match_db);
        self.handles.meters.take(|reading| {
            let lufs = reading.momentary_lufs;
            let mut moment = Moment { time_s: reading.time_s, lufs, ..Moment::default() };
            for (stage, taken_db) in REDUCING.iter().zip(reading.reduction_db) {
                moment.taken_db[*stage as usize] = taken_db;
            }
            history.push(moment);
            *match_db = reading.match_db;
            if reading.ledger.is_some() {
                *ledger = reading.ledger;
            }
        });
        let measuring = self.handles.is_measuring();
        let due = match self.asked {
            None => true,
            Some(asked) => measuring && asked.elapsed() >= ASK_EVERY,
        };
        if due {
            self.asked = Some(Instant::now());
            // What a state brought along counts until something is measured here.
            let heard = self.handles.heard();
            self.validity = heard.as_ref().map_or(1.0, |heard| heard.validity);
            let profile = heard.map(|heard| heard.profile).or(self.handles.parameters.voice().profile);
            if profile != self.profile {
                self.profile = profile;
                self.proposal = profile.filter(|_| !measuring).map(|p| Box::new(propose(&p, Context::default())));
            }
        }
    }

    /// Answers one thing that the page asked for; gives a text to put on the system's clipboard.
    fn answer(&mut self, ask: Ask, host: &dyn Gestures) -> Option<String> {
        let desk = &self.handles.desk;
        let outcome = match ask {
            Ask::Begin(stage, row) => {
                desk.hold();
                self.with(stage, row, |parameter, _| host.begin(parameter));
                return None;
            }
            Ask::Set(stage, row, value) => {
                self.set(stage, row, value, host);
                return None;
            }
            Ask::End(stage, row) => {
                self.with(stage, row, |parameter, _| host.end(parameter));
                return None;
            }
            Ask::Measure => {
                (self.profile, self.proposal) = (None, None);
                self.handles.measure().map_err(|error| error.to_string()).map(|()| String::new())
            }
            Ask::StopMeasuring => {
                self.handles.stop_measuring();
                (self.asked, self.profile) = (None, None);
                Ok(String::new())
            }
            Ask::Propose => match &self.profile {
                Some(profile) => {
                    let heard = self.handles.heard().is_some();
                    if heard {
                        let proposed = self.handles.propose(Context::default(), host);
                        proposed.map(|_| "applied; undo takes it back".into()).map_err(|error| error.to_string())
                    } else {
                        desk.propose(profile, Context::default(), host);
                        Ok("applied; undo takes it back".into())
                    }
                }
                None => Err("no voice was measured yet".into()),
            },
            Ask::Undo => {
                desk.undo(host);
                Ok(String::new())
            }
            Ask::Redo => {
                desk.redo(host);
                Ok(String::new())
            }
            Ask::Copy => match desk.copy() {
                Ok(text) => {
                    *copied() = Some(text.clone());
                    self.message = Some("copied".into());
                    return Some(text);
                }
                Err(error) => Err(error.to_string()),
            },
            Ask::Paste(text) => {
                let text = text.or_else(|| copied().clone()).unwrap_or_default();
                desk.paste(&text, host).map(|()| "pasted".into()).map_err(|error| error.to_string())
            }
            Ask::CarryOver => {
                let text = copied().clone().unwrap_or_default();
                let carried = match (self.handles.heard(), &self.profile) {
                    (None, Some(profile)) => desk.carry_over(&text, profile, Context::default(), host),
                    _ => self.handles.carry_over(&text, Context::default(), host),
                };
                carried.map(|()| "carried over".into()).map_err(|error| error.to_string())
            }
            Ask::StartFrom(point) => {
                desk.start_from(point, host);
                Ok(point.name().into())
            }
            Ask::Listen(way) => {
                self.listen(way, host);
                Ok(String::new())
            }
            Ask::Match(on) => {
                let parameter = &self.handles.parameters.level_match;
                gesture(parameter.as_ptr(), parameter.preview_normalized(on), host);
                Ok(String::new())
            }
            Ask::Hear(part) => {
                self.handles.parameters.hear_part(part);
                Ok(String::new())
            }
            Ask::Choose(filing) => {
                let text = desk.copy().map_err(|error| error.to_string());
                text.and_then(|text| self.files.choose(filing, text, &self.name).map_err(|error| error.to_string()))
                    .map(|()| String::new())
            }
            Ask::File { path, replace } => {
                self.files.typed(&path, replace).map_err(|error| error.to_string()).map(|()| String::new())
            }
            Ask::NoFile => {
                self.files.leave();
                Ok(String::new())
            }
            Ask::Order(order) => {
                let settings = voicechain_core::StripSettings { order, ..self.handles.parameters.settings() };
                desk.apply(&settings, host);
                Ok(String::new())
            }
        };
        self.message = Some(outcome.unwrap_or_else(|error| error)).filter(|text| !text.is_empty());
        None
    }

    /// What came of a settings file.
    fn filed(&mut self, host: &dyn Gestures) {
        let Some(outcome) = self.files.outcome() else { return };
        let name = |path: &std::path::Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.message = match outcome {
            Outcome::Saved(path) => Some(format!("saved as {}", path.display())),
            Outcome::Read(path, text) => Some(match self.handles.desk.paste(&text, host) {
                Ok(()) => format!("{} is applied; undo takes it back", name(&path)),
                Err(error) => format!("{}: {error}", name(&path)),
            }),
            Outcome::Failed(why) => Some(why),
            Outcome::Nothing => Some("no file was chosen".into()),
            Outcome::Taken(_) | Outcome::NoWindow => None,
        };
    }

    fn with(&self, stage: StageId, row: usize, then: impl FnOnce(ParamPtr, &crate::parameters::Knob)) {
        let mut knobs = self.handles.parameters.knobs().filter(|(of, ..)| *of == stage);
        if let Some((_, _, knob)) = knobs.nth(row) {
            then(knob.pointer(), knob);
        }
    }

    fn set(&self, stage: StageId, row: usize, value: f64, host: &dyn Gestures) {
        let info = &stage.rows()[row];
        self.with(stage, row, |parameter, knob| host.set(parameter, knob.normalised(info, value)));
    }

    fn listen(&self, way: Way, host: &dyn Gestures) {
        let parameters = &self.handles.parameters;
        parameters.hear_removed(way == Way::Removed);
        let bypass = way == Way::Unprocessed;
        if parameters.bypass.value() != bypass {
            gesture(parameters.bypass.as_ptr(), parameters.bypass.preview_normalized(bypass), host);
        }
    }

    fn remember(&self) {
        let habits = Habits { dark: self.page.dark, zoom: self.page.zoom, size: self.size };
        if habits != self.handles.parameters.habits() {
            self.handles.parameters.set_habits(habits);
        }
    }

    /// Draws the page and answers what it asks for.
    fn draw(&mut self, ui: &mut egui::Ui, host: &dyn Gestures) {
        self.look();
        self.filed(host);
        let Some(rate) = self.handles.meters.rate().or_else(|| SampleRate::new(USUAL_HZ).ok()) else { return };
        let parameters = &self.handles.parameters;
        let refused = parameters.refused();
        let pasteable = copied().is_some();
        let shown = Shown {
            name: &self.name,
            settings: parameters.settings(),
            rate,
            profile: self.profile.as_ref(),
            validity: self.validity,
            proposal: self.proposal.as_deref(),
            measuring: self.handles.is_measuring(),
            listening: parameters.listening(),
            part: parameters.part(),
            ledger: self.ledger,
            match_db: self.match_db,
            moving: &REDUCING,
            history: &self.history,
            steps: self.handles.desk.steps(),
            clipboard: [pasteable; 2],
            choosing: self.files.choosing(),
            message: self.message.as_deref().or(refused.as_deref()),
        };
        let asks = self.page.ui(ui, &shown);
        let answered = !asks.is_empty();
        for ask in asks {
            if let Some(text) = self.answer(ask, host) {
                ui.ctx().copy_text(text);
            }
        }
        if answered {
            // What was asked for is shown at once.
            ui.ctx().request_repaint();
        }
        self.remember();
    }
}

fn gesture(parameter: ParamPtr, normalised: f32, host: &dyn Gestures) {
    host.begin(parameter);
    host.set(parameter, normalised);
    host.end(parameter);
}

/// The keys of what has the keyboard: what moves it, and the beginnings of numbers. Letters and the space bar are the host's.
fn keys() -> Vec<Key> {
    let named = [
        NamedKey::ArrowUp,
        NamedKey::ArrowDown,
        NamedKey::ArrowLeft,
        NamedKey::ArrowRight,
        NamedKey::PageUp,
        NamedKey::PageDown,
        NamedKey::Tab,
        NamedKey::Enter,
        NamedKey::Escape,
        NamedKey::Delete,
        NamedKey::Backspace,
    ];
    let numbers = "0123456789+-.,=".chars().map(|letter| Key::Character(letter.to_string()));
    named.into_iter().map(Key::Named).chain(numbers).collect()
}

impl NiceEguiApp for Connection {
    fn build(&mut self, ctx: egui::Context, gui: GuiContext, _frame: &mut Frame) -> Result<(), HandlerError> {
        let habits = self.handles.parameters.habits();
        (self.page.dark, self.page.zoom, self.size) = (habits.dark, habits.zoom, habits.size);
        ctx.set_zoom_factor(habits.zoom);
        voicechain_editor::prepare(&ctx);
        self.gui = Some(gui);
        self.asked = None;
        self.handles.meters.watch(true);
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        let Some(gui) = self.gui.clone() else { return };
        self.draw(ui, &gui);
        if ui.ctx().zoom_factor() != self.page.zoom {
            ui.ctx().set_zoom_factor(self.page.zoom);
        }
        let look = voicechain_editor::Look::of(self.page.dark);
        frame.set_clear_color(egui::Rgba::from(look.paper));
        // The host keeps its keys: all of them, unless a value is being typed, or something here has the keyboard and moves
        // by some of them.
        let has_keyboard = ui.ctx().memory(|memory| memory.focused().is_some());
        frame.set_key_capture(match (self.page.is_typing(), has_keyboard) {
            (true, _) => KeyCapture::CaptureAll,
            (false, true) => KeyCapture::CaptureKeys(keys()),
            (false, false) => KeyCapture::IgnoreAll,
        });
    }

    fn resized(&mut self, size: WindowSize) {
        self.scale.set(size.scale_factor / f64::from(self.page.zoom));
        self.size = [size.logical.width as f32, size.logical.height as f32].map(|points| points * self.page.zoom);
        self.remember();
    }

    fn editor_closed(&mut self) {
        // Nobody could end it without the editor.
        if self.handles.parameters.part() != Part::Whole {
            self.handles.parameters.hear_part(Part::Whole);
        }
        self.handles.meters.watch(false);
        self.files.close();
        self.gui = None;
    }

    fn track_info_changed(&mut self, info: TrackInfo) {
        self.name = info.name().to_string();
    }
}
