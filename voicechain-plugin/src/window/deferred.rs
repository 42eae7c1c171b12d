//! Window that is created when the host first shows it.
//!
//! Before that, no window, thread or graphics context exists. Size, scale and parent that the host sets earlier are
//! stored.

use super::app::WindowApp;
use super::host;
use super::size::{RESIZE_HINT, opening_size};
use super::threads::WindowThreads;
use crate::instance::Instance;
use crate::preferences::Preferences;
use crate::scale::Scale;
use egui_baseview::baseview::{self, HandlerError};
use egui_baseview::{EguiWindow, EguiWindowSettings};
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use nice_plug::editor::{HostMethods, ParentWindowHandle};
use std::cell::{OnceCell, RefCell};
use std::io;
use std::time::Duration;
use voicechain_editor::MIN_SIZE;

/// Repaint interval of the window layer. It is practically off, because [`RedrawPoll`](crate::redraw::RedrawPoll)
/// requests the redraws.
const REPAINT_POLL_INTERVAL: Duration = Duration::from_secs(3_600);

/// Configuration for creating the window.
pub(super) struct WindowConfig {
    pub(super) parent: Option<ParentWindowHandle>,
    pub(super) wait_for_parent: bool,
    pub(super) fallback_scale: Option<f64>,
    pub(super) host: Option<HostMethods>,
    pub(super) app: WindowApp,
}

impl WindowConfig {
    fn window(self, instance: &Instance) -> Result<baseview::Window, baseview::Error> {
        let preferences = instance.parameters.preferences();
        // The window layer counts in points of the zoomed page.
        let [width, height] = preferences.size.map(|points| f64::from(points / preferences.zoom));
        let settings = EguiWindowSettings::new()
            .with_title("voicechain")
            .with_size(LogicalSize::new(width, height))
            .with_min_size(Some(LogicalSize::new(MIN_SIZE[0], MIN_SIZE[1])))
            .with_zoom_factor(preferences.zoom)
            .with_parent(self.parent.as_ref())
            .with_wait_for_parent(self.wait_for_parent)
            .with_fallback_scale_factor(self.fallback_scale)
            .with_repaint_poll_interval(REPAINT_POLL_INTERVAL);
        EguiWindow::create_with_host(settings, self.app, self.host.map(host::of))
    }
}

/// Window of an editor, created on demand.
pub struct DeferredWindow {
    instance: Instance,
    scale: Scale,
    threads: WindowThreads,
    /// `None` once the window has been created.
    config: RefCell<Option<WindowConfig>>,
    window: OnceCell<baseview::Window>,
}

impl DeferredWindow {
    pub(super) fn new(instance: Instance, scale: Scale, threads: WindowThreads, config: WindowConfig) -> Self {
        Self { instance, scale, threads, config: RefCell::new(Some(config)), window: OnceCell::new() }
    }

    /// The window; creates it if it does not exist yet.
    fn get_or_create(&self) -> Result<&baseview::Window, baseview::Error> {
        if let Some(window) = self.window.get() {
            return Ok(window);
        }
        let failed = || HandlerError::from(io::Error::other("the window could not be created"));
        let config = self.config.take().ok_or_else(failed)?;
        let window = config.window(&self.instance).inspect_err(|_| self.threads.end(|| ()))?;
        Ok(self.window.get_or_init(|| window))
    }

    /// Shows the window; creates it if it does not exist yet.
    pub(super) fn show(&self) -> Result<(), baseview::Error> {
        let window = self.get_or_create()?;
        window.show()?;
        request_first_frame(window);
        Ok(())
    }

    pub(super) fn hide(&self) -> Result<(), baseview::Error> {
        self.window.get().map_or(Ok(()), baseview::Window::hide)
    }

    /// Shows the window and returns when it is closed.
    pub(super) fn run(mut self) -> Result<(), baseview::Error> {
        request_first_frame(self.get_or_create()?);
        let window = self.window.take();
        self.threads.end(|| window.map_or(Ok(()), baseview::Window::run_until_closed))
    }

    pub(super) fn set_parent(&self, parent: ParentWindowHandle) -> Result<(), baseview::Error> {
        if let Some(window) = self.window.get() {
            return window.set_parent(&parent);
        }
        if let Some(config) = &mut *self.config.borrow_mut() {
            config.parent = Some(parent);
        }
        Ok(())
    }

    /// Sets the size; one below the minimum becomes the minimum.
    pub(super) fn set_size(&self, size: NativeSize<u32>) -> Result<(), baseview::Error> {
        let size = self.adjusted(size);
        if let Some(window) = self.window.get() {
            return window.resize(size);
        }
        let LogicalSize { width, height } = size.cast::<f32>().to_logical(self.scale.get());
        let preferences = Preferences { size: [width, height], ..self.instance.parameters.preferences() };
        self.instance.parameters.set_preferences(preferences);
        Ok(())
    }

    /// Nearest size that the window can have.
    pub(super) fn adjusted(&self, size: NativeSize<u32>) -> NativeSize<u32> {
        let (now, scale) = self.size();
        RESIZE_HINT.adjust_size(size, now, scale)
    }

    /// Size and scale of the window; before it is created, those it will have.
    fn size(&self) -> (NativeSize<u32>, f64) {
        match self.window.get().map(baseview::Window::size) {
            Some(size) => (NativeSize::from_logical_or_physical(size.logical, size.physical), size.scale_factor),
            None => (opening_size(&self.instance, &self.scale), self.scale.get()),
        }
    }

    pub(super) fn set_fallback_scale(&self, scale: f64) -> Result<(), baseview::Error> {
        if let Some(window) = self.window.get() {
            return window.suggest_fallback_scale_factor(scale);
        }
        self.scale.set(scale);
        if let Some(config) = &mut *self.config.borrow_mut() {
            config.fallback_scale = Some(scale);
        }
        Ok(())
    }

    pub(super) fn on_main_thread(&self) {
        if let Some(window) = self.window.get() {
            window.host_main_thread_callback();
        }
    }
}

impl Drop for DeferredWindow {
    fn drop(&mut self) {
        if let Some(window) = self.window.take() {
            self.threads.end(|| drop(window));
        }
    }
}

/// Requests the first frame, except on X11. There a shown window is drawn without a request, and a request could arrive
/// before the system shows it.
fn request_first_frame(window: &baseview::Window) {
    if !cfg!(target_os = "linux") {
        window.waker().request_redraw();
    }
}
