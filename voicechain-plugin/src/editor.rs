//! Editor: draws the page from the [`Instance`] and passes the user's actions to it.
//!
//! The page is `voicechain-editor`, which does not depend on a host. It is redrawn only when the meters have new
//! readings, when the host moves a parameter, and on user input.

use crate::clipboard;
use crate::editor_controller::EditorController;
use crate::gestures::Gestures;
use crate::preferences::Preferences;
use egui_baseview::baseview::WindowSize;
use egui_baseview::{Frame, Key, KeyCapture};
use keyboard_types::NamedKey;
use nice_plug::context::gui::GuiContext;
use nice_plug::prelude::TrackInfo;
use voicechain_core::SampleRate;
use voicechain_core::strip::{AuditionBand, METERED_STAGES};
use voicechain_editor::ViewModel;

/// Sample rate of the drawn curves before the first activation, Hz.
const DEFAULT_RATE_HZ: f64 = 48_000.0;

impl EditorController {
    fn store_preferences(&self) {
        let preferences = Preferences { dark: self.page.dark, zoom: self.page.zoom, size: self.size };
        if preferences != self.instance.parameters.preferences() {
            self.instance.parameters.set_preferences(preferences);
        }
    }

    /// Draws the page and performs its user actions.
    fn draw(&mut self, ui: &mut egui::Ui, host: &dyn Gestures) {
        self.poll();
        self.handle_file_outcome(host);
        let Some(rate) = self.instance.meters.rate().or_else(|| SampleRate::new(DEFAULT_RATE_HZ).ok()) else { return };
        let parameters = &self.instance.parameters;
        let refused = parameters.refused();
        let pass_through = self.instance.activation.pass_through_notice();
        if pass_through != self.pass_through {
            // An older message would hide it.
            (self.pass_through, self.message) = (pass_through, None);
        }
        let view = ViewModel {
            name: &self.name,
            settings: parameters.settings(),
            rate,
            profile: self.profile.as_ref(),
            captured_fraction: self.captured_fraction,
            proposal: self.proposal.as_deref(),
            measuring: self.instance.is_measuring(),
            monitoring: parameters.monitoring(),
            audition_band: parameters.audition_band(),
            ledger: self.ledger,
            loudness_match_db: self.loudness_match_db,
            metered_stages: &METERED_STAGES,
            history: &self.history,
            can_undo_redo: self.instance.commands.can_undo_redo(),
            clipboard: [clipboard::is_filled(); 2],
            file_dialog: self.files.file_dialog(),
            pass_through: self.pass_through.as_deref(),
            message: self.message.as_deref().or(refused.as_deref()),
        };
        let actions = self.page.ui(ui, &view);
        let has_actions = !actions.is_empty();
        for action in actions {
            if let Some(text) = self.handle_action(action, host) {
                ui.ctx().copy_text(text);
            }
        }
        if has_actions {
            // Shows the result at once.
            ui.ctx().request_repaint();
        }
        self.store_preferences();
    }
}

/// Keys captured while a control has the focus: those that move it, and the first characters of numbers. Letters and
/// the space bar go to the host.
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

impl EditorController {
    /// Called when the window has been created, before the first frame.
    pub(crate) fn opened(&mut self, ctx: &egui::Context, gui: GuiContext) {
        let preferences = self.instance.parameters.preferences();
        (self.page.dark, self.page.zoom, self.size) = (preferences.dark, preferences.zoom, preferences.size);
        voicechain_editor::prepare(ctx);
        self.gui = Some(gui);
        self.profile_polled = None;
        self.instance.meters.watch(true);
    }

    /// Draws a frame.
    pub(crate) fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        let Some(gui) = self.gui.clone() else { return };
        self.draw(ui, &gui);
        if ui.ctx().zoom_factor() != self.page.zoom {
            ui.ctx().set_zoom_factor(self.page.zoom);
        }
        let palette = voicechain_editor::Palette::of(self.page.dark);
        frame.set_clear_color(egui::Rgba::from(palette.paper));
        // All keys go to the host, unless a value is being typed or a control has the focus.
        let has_keyboard = ui.ctx().memory(|memory| memory.focused().is_some());
        frame.set_key_capture(match (self.page.is_typing(), has_keyboard) {
            (true, _) => KeyCapture::CaptureAll,
            (false, true) => KeyCapture::CaptureKeys(keys()),
            (false, false) => KeyCapture::IgnoreAll,
        });
    }

    /// Called when the window size has changed; `size.logical` is in points of the page.
    pub(crate) fn resized(&mut self, size: WindowSize) {
        self.scale.set(size.scale_factor / f64::from(self.page.zoom));
        self.size = [size.logical.width as f32, size.logical.height as f32].map(|points| points * self.page.zoom);
        self.store_preferences();
    }

    /// Called when the window has closed.
    pub(crate) fn closed(&mut self) {
        // An audition can only be ended in the editor.
        if self.instance.parameters.audition_band() != AuditionBand::Full {
            self.instance.parameters.set_audition_band(AuditionBand::Full);
        }
        self.instance.meters.watch(false);
        self.files.close();
        self.gui = None;
    }

    /// Called when the host has changed the track information.
    pub(crate) fn track_info_changed(&mut self, info: &TrackInfo) {
        self.name = info.name().to_string();
    }
}
