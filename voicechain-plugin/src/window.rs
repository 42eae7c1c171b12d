//! The editor's window as hosts know it.
//!
//! The framework asks for an editor once, before any state is loaded; every opening of it is made from what the state says
//! by then about size and zoom. In CLAP a host makes the editor, gives it a place and shows it, in three calls with as much
//! time between them as it likes; in VST3 the framework makes all three at once. The window is made with the last
//! ([`DeferredWindow`]). A host that never makes it has not asked to see anything.

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

/// The window of an instance.
pub struct Window {
    instance: Instance,
    scale: Scale,
    /// The page stays from one opening to the next.
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
        // SAFETY: the caller promises the same.
        unsafe { egui_baseview::baseview::assume_standalone_in_process() }
    }
}
