//! The editor's window: what the page shows comes from the [`Instance`], and what it asks for goes to it.
//!
//! The page itself is `voicechain-editor`, which knows nothing of a host. It is redrawn when the meters have something new
//! while sound comes, when the host moves a parameter, and when the person does something; never otherwise.

use crate::clipboard;
use crate::connection::Connection;
use crate::gestures::Gestures;
use crate::preferences::Preferences;
use egui_baseview::baseview::WindowSize;
use egui_baseview::{Frame, Key, KeyCapture};
use keyboard_types::NamedKey;
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::TrackInfo;
use voicechain_core::SampleRate;
use voicechain_core::strip::{METERED_STAGES, Part};
use voicechain_editor::Shown;

/// The rate that curves are drawn for before the strip was ever active, Hz.
const USUAL_HZ: f64 = 48_000.0;

impl Connection {
    fn remember(&self) {
        let preferences = Preferences { dark: self.page.dark, zoom: self.page.zoom, size: self.size };
        if preferences != self.instance.parameters.preferences() {
            self.instance.parameters.set_preferences(preferences);
        }
    }

    /// Draws the page and answers what it asks for.
    fn draw(&mut self, ui: &mut egui::Ui, host: &dyn Gestures) {
        self.look();
        self.filed(host);
        let Some(rate) = self.instance.meters.rate().or_else(|| SampleRate::new(USUAL_HZ).ok()) else { return };
        let parameters = &self.instance.parameters;
        let refused = parameters.refused();
        let shown = Shown {
            name: &self.name,
            settings: parameters.settings(),
            rate,
            profile: self.profile.as_ref(),
            validity: self.validity,
            proposal: self.proposal.as_deref(),
            measuring: self.instance.is_measuring(),
            listening: parameters.listening(),
            part: parameters.part(),
            ledger: self.ledger,
            match_db: self.match_db,
            moving: &METERED_STAGES,
            history: &self.history,
            steps: self.instance.commands.steps(),
            clipboard: [clipboard::is_filled(); 2],
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

impl Connection {
    /// The window is there, and nothing was drawn in it yet.
    pub(crate) fn opened(&mut self, ctx: &egui::Context, gui: GuiContext) {
        let preferences = self.instance.parameters.preferences();
        (self.page.dark, self.page.zoom, self.size) = (preferences.dark, preferences.zoom, preferences.size);
        voicechain_editor::prepare(ctx);
        self.gui = Some(gui);
        self.asked = None;
        self.instance.meters.watch(true);
    }

    /// Draws a frame.
    pub(crate) fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
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

    /// The window has another size, given in points of the page.
    pub(crate) fn resized(&mut self, size: WindowSize) {
        self.scale.set(size.scale_factor / f64::from(self.page.zoom));
        self.size = [size.logical.width as f32, size.logical.height as f32].map(|points| points * self.page.zoom);
        self.remember();
    }

    /// The window is gone.
    pub(crate) fn closed(&mut self) {
        // Nobody could end it without the editor.
        if self.instance.parameters.part() != Part::Whole {
            self.instance.parameters.hear_part(Part::Whole);
        }
        self.instance.meters.watch(false);
        self.files.close();
        self.gui = None;
    }

    /// The host has told the track's name.
    pub(crate) fn track_info_changed(&mut self, info: &TrackInfo) {
        self.name = info.name().to_string();
    }
}
