//! Handle by which the framework controls an open editor.

use super::deferred::DeferredWindow;
use crate::redraw::RedrawFlag;
use egui_baseview::baseview;
use nice_plug::editor::dpi::NativeSize;
use nice_plug::editor::{EditorHandle, ParentWindowHandle};

/// Handle of an open editor; its window is a [`DeferredWindow`].
pub struct WindowHandle {
    pub(super) redraw: RedrawFlag,
}

impl EditorHandle for WindowHandle {
    type Window = DeferredWindow;
    type Error = baseview::Error;

    fn run_until_closed(window: DeferredWindow) -> Result<(), baseview::Error> {
        window.run()
    }

    fn set_parent(&self, parent: ParentWindowHandle, window: &DeferredWindow) -> Result<(), baseview::Error> {
        window.set_parent(parent)
    }

    fn show(&self, window: &DeferredWindow) -> Result<(), baseview::Error> {
        window.show()
    }

    fn hide(&self, window: &DeferredWindow) -> Result<(), baseview::Error> {
        window.hide()
    }

    fn set_size(&self, size: NativeSize<u32>, window: &DeferredWindow) -> Result<(), baseview::Error> {
        window.set_size(size)
    }

    fn adjust_size(&self, size: NativeSize<u32>, window: &DeferredWindow) -> Option<NativeSize<u32>> {
        Some(window.adjusted(size))
    }

    fn set_fallback_scale_factor(&self, scale: f64, window: &DeferredWindow) -> Result<(), baseview::Error> {
        window.set_fallback_scale(scale)
    }

    fn host_main_thread_callback(&self, window: &DeferredWindow) {
        window.on_main_thread();
    }

    fn state_changed(&self) {
        self.redraw.request();
    }

    fn param_value_changed(&self, _id: &str, _normalised: f32) {
        self.redraw.request();
    }

    fn param_modulation_changed(&self, _id: &str, _offset: f32) {
        self.redraw.request();
    }
}
