//! Application inside an open window, on the window's own thread.

use super::threads::WindowThreads;
use crate::editor_controller::EditorController;
use crate::redraw::{RedrawFlag, RedrawPoll};
use crate::scale::Scale;
use egui_baseview::baseview::{HandlerError, WindowSize};
use egui_baseview::{App, Frame};
use nice_plug::context::gui::GuiContext;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Rate at which an open window polls for redraw requests, per second.
const REDRAWS_PER_SECOND: f64 = 60.0;

/// Page in a window.
pub(super) struct WindowApp {
    controller: Arc<Mutex<EditorController>>,
    /// Host context, until it is passed to the controller.
    gui: Option<GuiContext>,
    scale: Scale,
    threads: WindowThreads,
    redraw: RedrawFlag,
    /// Starts with the first frame. A redraw requested before the system shows the window is lost in the window layer,
    /// which then never draws. The first frame needs no request.
    poll: Option<RedrawPoll>,
}

impl WindowApp {
    pub(super) fn new(
        controller: Arc<Mutex<EditorController>>,
        gui: GuiContext,
        scale: Scale,
        threads: WindowThreads,
        redraw: RedrawFlag,
    ) -> Self {
        Self { controller, gui: Some(gui), scale, threads, redraw, poll: None }
    }

    fn with<T>(&self, then: impl FnOnce(&mut EditorController) -> T) -> T {
        then(&mut self.controller.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn open(&mut self, ctx: &egui::Context) {
        if let Some(gui) = self.gui.take() {
            self.with(|controller| controller.opened(ctx, gui));
        }
    }
}

impl App for WindowApp {
    fn build(&mut self, ctx: egui::Context, frame: &mut Frame) -> Result<(), HandlerError> {
        self.threads.include_current();
        self.scale.set(frame.baseview_window().scale_factor());
        self.open(&ctx);
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        if self.poll.is_none() {
            let (flag, waker) = (self.redraw.clone(), frame.baseview_window().waker());
            let every = Duration::from_secs_f64(1.0 / REDRAWS_PER_SECOND);
            // If no thread can be started, user input is still drawn, and the next frame tries again.
            self.poll = RedrawPoll::start(flag, every, move || waker.request_redraw()).ok();
        }
        self.with(|controller| controller.ui(ui, frame));
    }

    fn resized(&mut self, size: WindowSize) {
        self.with(|controller| controller.resized(size));
    }
}

impl Drop for WindowApp {
    fn drop(&mut self) {
        self.poll = None;
        // Without `build`, the controller was never opened.
        if self.gui.is_none() {
            self.with(EditorController::closed);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instance::Instance;
    use nice_plug::context::PluginApi;
    use nice_plug::context::gui::GuiContextInner;
    use nice_plug::params::internals::ParamPtr;
    use nice_plug::plugin::PluginState;
    use voicechain_core::strip::AuditionBand;

    /// Host that ignores every call.
    struct SilentHost;

    #[allow(unsafe_code)]
    impl GuiContextInner for SilentHost {
        fn plugin_api(&self) -> PluginApi {
            PluginApi::Clap
        }
        unsafe fn raw_begin_set_parameter(&self, _: ParamPtr) {}
        unsafe fn raw_set_parameter_normalized(&self, _: ParamPtr, _: f32) {}
        unsafe fn raw_end_set_parameter(&self, _: ParamPtr) {}
        fn get_state(&self) -> PluginState {
            unreachable!("the page does not read the state")
        }
        fn set_state(&self, _: PluginState) {}
        fn request_restart(&self) {}
    }

    /// An audition can only be ended in the window.
    #[test]
    fn closing_the_window_ends_the_audition() {
        let (instance, scale) = (Instance::default(), Scale::default());
        let controller = Arc::new(Mutex::new(EditorController::new(instance.clone(), scale.clone())));
        let app = || {
            let (gui, redraw) = (GuiContext::new(Arc::new(SilentHost)), RedrawFlag::default());
            WindowApp::new(Arc::clone(&controller), gui, scale.clone(), WindowThreads::default(), redraw)
        };
        let band = AuditionBand::BandPass { frequency_hz: 455.5, q: 3.3 };
        let mut window = app();
        window.open(&egui::Context::default());
        instance.parameters.set_audition_band(band);
        // A window that was never shown does not end the audition.
        drop(app());
        assert_eq!(instance.parameters.audition_band(), band);
        drop(window);
        assert_eq!(instance.parameters.audition_band(), AuditionBand::Full);
    }
}
