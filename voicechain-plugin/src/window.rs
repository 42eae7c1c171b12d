//! Editor window, as the framework's [`Editor`].
//!
//! The framework creates the editor once, before any state is loaded. Each opening uses the size and zoom of the state
//! at that time. A CLAP host creates the editor, sets its parent and shows it in three calls, with any time between
//! them; for VST3 the framework makes all three at once. The window itself is created by the last call
//! ([`DeferredWindow`]), so a host that never shows the editor never causes a window.

mod app;
mod deferred;
mod handle;
mod host;
mod size;
mod threads;

use crate::editor_controller::EditorController;
use crate::instance::Instance;
use crate::scale::Scale;
use app::WindowApp;
pub use deferred::DeferredWindow;
use deferred::WindowConfig;
pub use handle::WindowHandle;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::NativeSize;
use nice_plug::editor::{HostMethods, ParentWindowHandle, ResizeHint, SpawnedEditor};
use nice_plug::prelude::{Editor, TrackInfo};
use size::{RESIZE_HINT, opening_size};
use std::error::Error;
use std::sync::{Arc, Mutex, PoisonError};
use threads::WindowThreads;

/// Editor window of an instance.
pub struct Window {
    instance: Instance,
    scale: Scale,
    /// Kept from one opening to the next, so that the page keeps its state.
    controller: Arc<Mutex<EditorController>>,
}

impl Window {
    pub(crate) fn new(instance: Instance) -> Self {
        let scale = Scale::default();
        let controller = Arc::new(Mutex::new(EditorController::new(instance.clone(), scale.clone())));
        Self { instance, scale, controller }
    }
}

impl Editor for Window {
    type Handle = WindowHandle;

    fn spawn(
        &self,
        parent: Option<ParentWindowHandle>,
        wait_for_parent: bool,
        fallback_scale: Option<f64>,
        gui: GuiContext,
        host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<WindowHandle>, Box<dyn Error>> {
        if let Some(scale) = fallback_scale {
            self.scale.set(scale);
        }
        let (redraw, threads) = (self.instance.meters.redraw(), WindowThreads::default());
        let controller = Arc::clone(&self.controller);
        let app = WindowApp::new(controller, gui, self.scale.clone(), threads.clone(), redraw.clone());
        let config = WindowConfig { parent, wait_for_parent, fallback_scale, host, app };
        let window = DeferredWindow::new(self.instance.clone(), self.scale.clone(), threads, config);
        Ok(SpawnedEditor { handle: WindowHandle { redraw }, window })
    }

    fn size(&self) -> NativeSize<u32> {
        opening_size(&self.instance, &self.scale)
    }

    fn resize_hint(&self) -> ResizeHint {
        RESIZE_HINT
    }

    fn track_info_updated(&self, info: TrackInfo) {
        self.controller.lock().unwrap_or_else(PoisonError::into_inner).track_info_changed(&info);
        self.instance.meters.redraw().request();
    }

    #[allow(unsafe_code)]
    unsafe fn assume_standalone_in_process(&self) {
        // SAFETY: the caller guarantees the same.
        unsafe { egui_baseview::baseview::assume_standalone_in_process() }
    }
}
