use windows_core::{ComObject, HSTRING};
use windows_sys::Win32::{
    Foundation::{LPARAM, LRESULT, RECT, WPARAM},
    UI::{Controls::WM_MOUSELEAVE, WindowsAndMessaging::*},
};

use crate::dpi::{PhysicalPosition, PhysicalSize, Size};
use crate::{warn, DamageArea, EventStatus, HandlerError, WindowHandler};
use std::cell::{Cell, OnceCell};
use std::num::NonZeroU32;
use windows_sys::Win32::Foundation::POINT;

use super::drop_target::DropTarget;
use super::*;
use crate::handler::WindowHandlerBuilder;
use crate::host::Host;
use crate::platform::win::window_state::{RedrawTimer, WindowSharedState, WindowState};
use crate::platform::PlatformError;
use crate::utils::SizingStrategy;
use crate::window::WindowInitializer;
use crate::wrappers::win32::cursor::SystemCursor;
use crate::wrappers::win32::window::*;
use crate::wrappers::win32::{
    ole_initialize, run_thread_message_loop_until, Dpi, DpiAwarenessGuard, LibraryModule, Rect,
    TimerId, TimerType, WindowStyle,
};
use crate::{Event, MouseButton, MouseEvent, ScrollDelta, WindowEvent, WindowSize};

fn hi_word(wparam: WPARAM) -> u16 {
    ((wparam >> 16) & 0xffff) as u16
}

fn lo_word(lparam: LPARAM) -> u16 {
    (lparam & 0xffff) as u16
}

pub struct WindowHandle {
    init: Cell<Option<WindowInitializer>>,
    hwnd: Cell<Option<HWnd>>,
    state: Rc<WindowSharedState>,
}

impl WindowHandle {
    pub fn run_until_closed(self) -> Result<()> {
        self.show()?;

        run_thread_message_loop_until(|| !self.is_open())?;
        Ok(())
    }

    pub fn is_open(&self) -> bool {
        self.state.is_alive.get()
    }

    pub fn is_resizable(&self) -> bool {
        self.state.sizing_strategy.is_resizable()
    }

    pub fn min_size(&self) -> Option<Size> {
        self.state.sizing_strategy.min_size()
    }

    pub fn max_size(&self) -> Option<Size> {
        self.state.sizing_strategy.max_size()
    }

    pub fn size(&self) -> WindowSize {
        self.state.size()
    }

    pub fn resize(&self, new_size: Size) -> Result<()> {
        let new_size = self.state.sizing_strategy.adjust_size(new_size, self.size()).physical;

        if new_size == self.state.current_size.get() {
            return Ok(());
        }

        let hwnd = match self.hwnd.get() {
            Some(hwnd) => hwnd,
            None => {
                self.state.current_size.set(new_size);
                return Ok(());
            }
        };

        let _guard = self.state.originate_host_resize();
        let dpi_ctx =
            DpiAwarenessGuard::new(&self.state.user32, self.state.dpi_scaling_strategy.get())?;
        hwnd.resize_and_activate(new_size, self.state.current_dpi.get(), &dpi_ctx)?;

        if self.state.current_size.get() == new_size {
            Ok(())
        } else {
            Err(PlatformError::UnexpectedResizeResult {
                new_actual_size: self.state.current_size.get(),
            })
        }
    }

    pub fn sizing_strategy(&self) -> SizingStrategy {
        self.state.sizing_strategy
    }

    pub fn suggest_scale_factor(&self, new_host_scale_factor: f64) -> Result<()> {
        let new_dpi = Dpi::from_scale_factor(new_host_scale_factor)
            .ok_or(PlatformError::InvalidScaleFactor)?;

        let current_scale_factor = self.state.scale_factor();
        self.state.fallback_scale_factor.set(Some(new_host_scale_factor));

        let dpi_scaling_strategy = self.state.dpi_scaling_strategy.get();

        if !dpi_scaling_strategy.should_use_host_suggested_scale_factor {
            return Ok(());
        }

        self.state.current_dpi.set(new_dpi);

        let Some(hwnd) = self.hwnd.get() else { return Ok(()) };

        let current_size = self.state.current_size.get();
        let new_size = self
            .state
            .current_size
            .get()
            .to_logical::<f64>(current_scale_factor)
            .to_physical(new_host_scale_factor);

        // This call doesn't meaningfully change the scaling factor, ignore the result
        if current_size == new_size {
            return Ok(());
        }

        let _guard = self.state.originate_host_resize();
        let dpi_ctx = DpiAwarenessGuard::new(&self.state.user32, dpi_scaling_strategy)?;

        hwnd.resize_and_activate(new_size, new_dpi, &dpi_ctx)?;

        if self.state.current_size.get() == new_size {
            Ok(())
        } else {
            Err(PlatformError::UnexpectedResizeResult {
                new_actual_size: self.state.current_size.get(),
            })
        }
    }

    pub fn set_parent(&self, new_parent: ParentWindowHandle) -> Result<()> {
        let hwnd = match self.hwnd.get() {
            Some(hwnd) => hwnd,
            None => {
                let Some(mut init) = self.init.take() else { return Ok(()) };
                init.settings.parent = Some(new_parent.into());

                let window = BaseviewWindow::create(Rc::clone(&self.state), init)?;
                self.hwnd.set(Some(window));

                return Ok(());
            }
        };

        if !self.state.parented.get() {
            panic!("Called set_parent on a floating window")
        }

        hwnd.set_parent(&new_parent.handle)?;

        Ok(())
    }

    #[inline]
    pub fn handle_main_thread_callback(&self) {
        // No-op
    }

    pub fn show(&self) -> Result<()> {
        let hwnd = match self.hwnd.get() {
            Some(hwnd) => hwnd,
            None => {
                let Some(init) = self.init.take() else { return Ok(()) };

                let window = BaseviewWindow::create(Rc::clone(&self.state), init)?;
                self.hwnd.set(Some(window));

                return Ok(());
            }
        };

        hwnd.show_and_activate();

        Ok(())
    }

    pub fn hide(&self) -> Result<()> {
        let Some(hwnd) = self.hwnd.get() else { return Ok(()) };
        hwnd.hide();

        Ok(())
    }

    pub fn waker(&self) -> WindowWaker {
        self.state.window_waker_source.waker()
    }

    pub fn request_poll(&self) -> Result<()> {
        if let Some(hwnd) = self.hwnd.get() {
            hwnd.post_request_poll();
        }

        Ok(())
    }
}

impl Drop for WindowHandle {
    fn drop(&mut self) {
        if !self.state.is_alive.get() {
            return;
        }

        if let Some(hwnd) = self.hwnd.take() {
            let _guard = self.state.originate_host_destroy();
            if let Err(e) = hwnd.destroy() {
                warn!("Failed to destroy window: {}", e);
            }
        }
    }
}

pub struct BaseviewWindow {
    window_state: Rc<WindowState>,
    shared_state: Rc<WindowSharedState>,
    initial_size: Size,

    handler_builder: Cell<Option<WindowHandlerBuilder>>,
    handler: OnceCell<Box<dyn WindowHandler>>,
    host: Host,

    // Workaround some VST3 hosts (e.g. Bitwig) not allowing request_resize before show() occurs
    pub host_needs_new_size_notified_on_show: Cell<Option<PhysicalSize<u32>>>,

    // Things not directly used, but kept so their Drop impl runs when the window is destroyed
    _keyboard_hook: Cell<Option<hook::KeyboardHookHandle>>,
    _drop_target: Cell<Option<ComObject<DropTarget>>>,

    #[cfg(feature = "opengl")]
    gl_config: Option<crate::gl::GlConfig>,
}

impl BaseviewWindow {
    pub fn create(shared_state: Rc<WindowSharedState>, init: WindowInitializer) -> Result<HWnd> {
        shared_state.init(&init);

        let style = WindowStyle::from_settings(&init.settings);
        let parent = init.settings.parent.map(|p| p.inner.handle);

        let dpi_ctx =
            DpiAwarenessGuard::new(&shared_state.user32, shared_state.dpi_scaling_strategy.get())?;

        let window_size = shared_state.current_size.get();

        let initializer = {
            let shared_state = Rc::clone(&shared_state);

            move |hwnd: HWnd| {
                shared_state.set_hwnd(hwnd);

                let window_state = Rc::new(WindowState::new(
                    hwnd,
                    shared_state.user32.clone(),
                    Rc::clone(&shared_state),
                ));

                BaseviewWindow {
                    window_state,
                    initial_size: init.settings.size,
                    handler_builder: Cell::new(Some(init.builder)),
                    handler: OnceCell::new(),
                    shared_state,
                    host: init.host,
                    host_needs_new_size_notified_on_show: None.into(),

                    _drop_target: None.into(),
                    _keyboard_hook: None.into(),

                    #[cfg(feature = "opengl")]
                    gl_config: init.settings.gl_config,
                }
            }
        };

        let rect = dpi_ctx.client_area_to_nc_area(window_size.into(), style, None)?;
        let title = HSTRING::from(init.settings.title);
        let window = create_window(&title, style, rect.size(), parent, &dpi_ctx, initializer)?;

        Ok(window)
    }

    fn notify_destroyed_to_host(&self) {
        if self.shared_state.destroy_host_originated.get() {
            return;
        };

        self.host.notify_destroyed()
    }

    fn request_host_resize(&self, new_size: WindowSize) -> core::result::Result<(), HandlerError> {
        if self.shared_state.resize_host_originated.get() {
            return Ok(());
        };

        self.host.request_resize(new_size)
    }

    fn adapt_host_window_to_size(
        &self, previous_size: PhysicalSize<u32>, new_size: WindowSize,
    ) -> core::result::Result<(), ()> {
        if let Err(e) = self.request_host_resize(new_size) {
            warn!("Resize request from Host failed: {}. Reverting to previous size.", e);

            if let Some(handler) = self.handler.get() {
                if let Err(e) = handler.resized(new_size) {
                    warn!("Window Handler failed to resize to previous window size: {}", e);
                }
            };

            self.window_state.shared.current_size.set(previous_size);
            if let Err(e) = self.window_state.resize(previous_size.into()) {
                warn!("Failed to resize back to previous window size: {}", e);
            }

            return Err(());
        }

        Ok(())
    }

    pub(crate) fn notify_damage(&self, damage: DamageArea) {
        let Some(handler) = self.handler.get() else { return };
        handler.damage(damage);
    }

    pub(crate) fn handle_draw(&self) {
        let Some(handler) = self.handler.get() else { return };

        handler.poll();

        self.window_state.redraw_requested.set(false);
        if let Err(e) = handler.draw() {
            warn!("Error while rendering frame: {}", e);
            self.window_state.request_close();
        }

        self.window_state.setup_redraw_request_for_next_frame();
    }

    pub(crate) fn handle_poll(&self) {
        let Some(handler) = self.handler.get() else { return };

        handler.poll();
    }

    pub(crate) fn handle_event(&self, event: Event) -> EventStatus {
        let Some(handler) = self.handler.get() else {
            return EventStatus::Ignored;
        };

        handler.on_event(event)
    }

    pub(crate) fn handle_delayed_redraw_wm_timer(&self, id: TimerId) {
        match self.shared_state.delayed_redraw_timers.remove_if_exists(id) {
            Ok(false) => {}
            Err(e) => {
                warn!("Could not remove timer: {}", e);
            }
            Ok(true) => {
                self.window_state.request_redraw();
            }
        }
    }

    pub(crate) fn handle_user_wm_timer(&self, id: TimerId) {
        if self.shared_state.user_timers.exists(id) {
            let Some(handler) = self.handler.get() else { return };

            handler.on_timer((&id).into());
        }
    }
}

impl Drop for BaseviewWindow {
    fn drop(&mut self) {
        self.shared_state.is_alive.set(false);
        self.notify_destroyed_to_host();
    }
}

impl WindowImpl for BaseviewWindow {
    fn non_client_create(&self, window: HWnd) -> std::result::Result<(), PlatformError> {
        if self.shared_state.dpi_scaling_strategy.get().should_enable_nc_dpi_scaling_manually {
            window.enable_non_client_dpi_scaling(&self.shared_state.user32);
        }

        Ok(())
    }

    fn after_create(&self, window: HWnd) -> core::result::Result<(), PlatformError> {
        let window_state = &self.window_state;

        self._keyboard_hook.set(Some(hook::init_keyboard_hook(window.as_raw())));

        // Now we can get the actual dpi of the window.
        let dpi = window_state
            .shared
            .dpi_scaling_strategy
            .get()
            .get_dpi_for_window(window, &self.shared_state.user32);

        if let Some(dpi) = dpi {
            if dpi != window_state.shared.current_dpi.get() {
                window_state.shared.current_dpi.set(dpi);

                // We cannot create a window in "logical" pixels, and we can't DPI-scale to physical pixels because we
                // have no way to know where the window will end up.
                // So, at window creation, we assume a DPI=96 (or parent DPI if available), and if it ends up wrong, we resize the window
                // to the actual logical size the user desired.
                let new_size = self.initial_size.to_physical(dpi.scale_factor());

                // Preemptively update so a synchronous WM_SIZE from SetWindowPos below
                // doesn't also emit Resized.
                let previous_size = window_state.shared.current_size.replace(new_size);
                let guard = DpiAwarenessGuard::new(
                    &window_state.shared.user32,
                    self.shared_state.dpi_scaling_strategy.get(),
                )?;
                window.resize_and_activate(new_size, dpi, &guard)?;

                self.host_needs_new_size_notified_on_show.set(Some(previous_size));
            } else {
                // If the host queried size before it gave us a parent, this is the one it's been using.
                let previous_host_size = self.initial_size.to_physical(1.0);
                let current_size = self.initial_size.to_physical(dpi.scale_factor());

                if previous_host_size != current_size {
                    self.host_needs_new_size_notified_on_show.set(Some(previous_host_size));
                }
            }
        }

        let drop_target = ComObject::new(DropTarget::new(Rc::downgrade(window_state), window));
        self._drop_target.set(Some(drop_target.clone()));

        ole_initialize()?;
        window.register_drag_drop(drop_target.as_interface())?;

        #[cfg(feature = "opengl")]
        if let Some(gl_config) = self.gl_config.clone() {
            let gl_context = gl::GlContextInner::create(window, gl_config)?;

            let Ok(()) = self.window_state.gl_context.set(Rc::new(gl_context)) else {
                unreachable!();
            };
        };

        let handler = {
            let context = crate::WindowContext::new(Rc::clone(&self.window_state));
            let Some(handler_builder) = self.handler_builder.take() else {
                unreachable!();
            };

            handler_builder.build(context)?
        };
        let Ok(()) = self.handler.set(handler) else { unreachable!() };

        Ok(())
    }

    unsafe fn handle_message(
        &self, window: HWnd, msg: u32, wparam: WPARAM, lparam: LPARAM,
    ) -> Option<LRESULT> {
        unsafe { wnd_proc_inner(window, msg, wparam, lparam, self) }
    }

    fn before_destroy(&self, window: HWnd) {
        let _ = window.revoke_drag_drop();
        // No need to destroy timers: they are all destroyed when the window is invalidated.
    }
}

/// Our custom `wnd_proc` handler. If the result contains a value, then this is returned after
/// handling any deferred tasks. otherwise the default window procedure is invoked.
#[allow(clippy::unwrap_used, reason = "Refactor this in a later PR")] // TODO
unsafe fn wnd_proc_inner(
    window: HWnd, msg: u32, wparam: WPARAM, lparam: LPARAM, window_bv: &BaseviewWindow,
) -> Option<LRESULT> {
    let window_state = &window_bv.window_state;
    match msg {
        WM_MOUSEMOVE => {
            if window_state.mouse_was_outside_window.get() {
                // this makes Windows track whether the mouse leaves the window.
                // When the mouse leaves it results in a `WM_MOUSELEAVE` event.
                // Couldn't find a good way to track whether the mouse enters,
                // but if `WM_MOUSEMOVE` happens, the mouse must have entered.
                let _ = window.start_cursor_leave_tracking();
                window_state.mouse_was_outside_window.set(false);

                let enter_event = Event::Mouse(MouseEvent::CursorEntered);
                window_bv.handle_event(enter_event);
            }

            let x = (lparam & 0xFFFF) as i16 as i32;
            let y = ((lparam >> 16) & 0xFFFF) as i16 as i32;

            let move_event = Event::Mouse(MouseEvent::CursorMoved {
                position: PhysicalPosition { x, y }.cast(),
                modifiers: window_state
                    .keyboard_state
                    .borrow()
                    .get_modifiers_from_mouse_wparam(wparam),
            });

            window_bv.handle_event(move_event);
            Some(0)
        }

        WM_MOUSELEAVE => {
            window_bv.handle_event(Event::Mouse(MouseEvent::CursorLeft));

            window_state.mouse_was_outside_window.set(true);
            Some(0)
        }
        WM_MOUSEWHEEL | WM_MOUSEHWHEEL => {
            let value = (wparam >> 16) as i16;
            let value = value as i32;
            let value = value as f32 / WHEEL_DELTA as f32;

            let event = Event::Mouse(MouseEvent::WheelScrolled {
                delta: if msg == WM_MOUSEWHEEL {
                    ScrollDelta::Lines { x: 0.0, y: value }
                } else {
                    ScrollDelta::Lines { x: value, y: 0.0 }
                },
                modifiers: window_state
                    .keyboard_state
                    .borrow()
                    .get_modifiers_from_mouse_wparam(wparam),
            });

            window_bv.handle_event(event);
            Some(0)
        }
        WM_LBUTTONDOWN | WM_LBUTTONUP | WM_MBUTTONDOWN | WM_MBUTTONUP | WM_RBUTTONDOWN
        | WM_RBUTTONUP | WM_XBUTTONDOWN | WM_XBUTTONUP => {
            let mut mouse_button_counter = window_state.mouse_button_counter.get();

            fn get_xbutton_wparam(wparam: WPARAM) -> u16 {
                hi_word(wparam)
            }

            const XBUTTON1: u16 = 0x1;
            const XBUTTON2: u16 = 0x2;

            let button = match msg {
                WM_LBUTTONDOWN | WM_LBUTTONUP => Some(MouseButton::Left),
                WM_MBUTTONDOWN | WM_MBUTTONUP => Some(MouseButton::Middle),
                WM_RBUTTONDOWN | WM_RBUTTONUP => Some(MouseButton::Right),
                WM_XBUTTONDOWN | WM_XBUTTONUP => match get_xbutton_wparam(wparam) {
                    XBUTTON1 => Some(MouseButton::Back),
                    XBUTTON2 => Some(MouseButton::Forward),
                    _ => None,
                },
                _ => None,
            };

            if let Some(button) = button {
                let event = match msg {
                    WM_LBUTTONDOWN | WM_MBUTTONDOWN | WM_RBUTTONDOWN | WM_XBUTTONDOWN => {
                        // Capture the mouse cursor on button down
                        mouse_button_counter = mouse_button_counter.saturating_add(1);
                        window.set_capture();
                        MouseEvent::ButtonPressed {
                            button,
                            modifiers: window_state
                                .keyboard_state
                                .borrow()
                                .get_modifiers_from_mouse_wparam(wparam),
                        }
                    }
                    WM_LBUTTONUP | WM_MBUTTONUP | WM_RBUTTONUP | WM_XBUTTONUP => {
                        // Release the mouse cursor capture when all buttons are released
                        mouse_button_counter = mouse_button_counter.saturating_sub(1);
                        if mouse_button_counter == 0 {
                            HWnd::release_capture();
                        }

                        MouseEvent::ButtonReleased {
                            button,
                            modifiers: window_state
                                .keyboard_state
                                .borrow()
                                .get_modifiers_from_mouse_wparam(wparam),
                        }
                    }
                    _ => {
                        unreachable!()
                    }
                };

                window_state.mouse_button_counter.set(mouse_button_counter);
                window_bv.handle_event(Event::Mouse(event));
            }

            None
        }
        WM_CAPTURECHANGED => {
            let window_gaining_capture =
                NonNull::new(lparam as _).map(|p| unsafe { HWnd::from_raw(p) });

            if window_gaining_capture != Some(window) {
                let previous_counter = window_state.mouse_button_counter.replace(0);
                HWnd::release_capture();

                if previous_counter == 0 {
                    window_bv.handle_event(Event::Mouse(MouseEvent::CursorLeft));
                    window_state.mouse_was_outside_window.set(true);
                }
            }

            Some(0)
        }
        WM_PAINT => {
            if let Some(rect) = window.get_update_rect() {
                window_bv.notify_damage(DamageArea::Rect(rect.into()));
                window_bv.handle_draw();
                window.validate_rect(rect);
            }

            Some(0)
        }
        WM_TIMER => {
            let timer_id = TimerId::from_raw(wparam)?;

            if timer_id == RedrawTimer::ID {
                if !window_state.redraw_timer.is_running() {
                    return None;
                };
                window.invalidate_window();
                return Some(0);
            }

            None
        }
        WM_CLOSE => {
            window_bv.handle_event(Event::Window(WindowEvent::WillClose));

            None
        }
        WM_CHAR | WM_SYSCHAR | WM_KEYDOWN | WM_SYSKEYDOWN | WM_KEYUP | WM_SYSKEYUP
        | WM_INPUTLANGCHANGE => {
            let opt_event = window_state.keyboard_state.borrow_mut().process_message(
                window.as_raw(),
                msg,
                wparam,
                lparam,
            );

            if let Some(event) = opt_event {
                window_bv.handle_event(Event::Keyboard(event));
            }

            if msg != WM_SYSKEYDOWN {
                Some(0)
            } else {
                None
            }
        }
        WM_SETFOCUS => {
            window_bv.handle_event(Event::Window(WindowEvent::Focused));

            None
        }
        WM_KILLFOCUS => {
            window_bv.handle_event(Event::Window(WindowEvent::Unfocused));

            None
        }
        WM_SIZE => {
            let width = (lparam & 0xFFFF) as u16 as u32;
            let height = ((lparam >> 16) & 0xFFFF) as u16 as u32;

            let new_size = PhysicalSize { width, height };
            let current_size = window_state.shared.current_size.get();

            // Only send the event if anything changed
            if current_size == new_size {
                return None;
            }

            let previous = window_state.shared.current_size.replace(new_size);
            let new_size = WindowSize::from_physical(new_size, window_state.shared.scale_factor());

            let handler = window_bv.handler.get()?;
            if let Err(e) = handler.resized(new_size) {
                warn!("Window Handler failed to resize: {}", e);
                window_state.shared.current_size.set(previous);

                if let Err(e) = window_state.resize(previous.into()) {
                    warn!("Failed to resize back to previous window size: {}", e);
                }

                return Some(-1);
            }

            if let Err(e) = window_bv.request_host_resize(new_size) {
                warn!("Resize request from Host failed: {}. Reverting to previous size.", e);

                if let Err(e) = handler.resized(new_size) {
                    warn!("Window Handler failed to resize to previous window size: {}", e);
                }

                window_state.shared.current_size.set(previous);
                if let Err(e) = window_state.resize(previous.into()) {
                    warn!("Failed to resize back to previous window size: {}", e);
                }

                return Some(-1);
            }

            window.invalidate_window();

            None
        }
        WM_SHOWWINDOW => {
            if let Some(previous_size) = window_bv.host_needs_new_size_notified_on_show.take() {
                let new_size = window_state.shared.current_size.get();
                let dpi = window_state.shared.current_dpi.get();

                let _ = window_bv.adapt_host_window_to_size(
                    previous_size,
                    WindowSize::from_physical(new_size, dpi.scale_factor()),
                );
            }

            None
        }
        WM_DPICHANGED => {
            let suggested_nc_rect = Rect((lparam as *const RECT).read());
            let Some(dpi) = NonZeroU32::new((wparam & 0xFFFF) as u16 as u32) else {
                return Some(-1);
            };
            let dpi = Dpi(dpi);

            let dpi_ctx = DpiAwarenessGuard::new(
                &window_state.user32,
                window_state.shared.dpi_scaling_strategy.get(),
            )
            .unwrap();
            let style = window.get_style().unwrap();
            let suggested_rect =
                dpi_ctx.nc_area_to_client_area(suggested_nc_rect, style, Some(dpi)).unwrap();

            let new_size = suggested_rect.size();

            let changed = window_state.shared.current_size.get() != new_size
                || window_state.shared.current_dpi.get() != dpi;

            window_state.shared.current_dpi.set(dpi);
            let previous_size = window_state.shared.current_size.replace(new_size);

            // Windows makes us resize the window manually. This however will not send a WM_SIZE event,
            // hence why we are notifying the window handler manually below.
            let _ = window.set_nc_rect(suggested_nc_rect);

            if changed {
                let handler = window_bv.handler.get()?;
                let new_size = WindowSize::from_physical(new_size, dpi.scale_factor());

                if let Err(e) = handler.resized(new_size) {
                    warn!("Window Handler failed to resize: {}", e);
                    window_state.shared.current_size.set(previous_size);

                    if let Err(e) = window_state.resize(previous_size.into()) {
                        warn!("Failed to resize back to previous window size: {}", e);
                    }

                    return Some(-1);
                }

                if let Err(()) = window_bv.adapt_host_window_to_size(previous_size, new_size) {
                    return Some(-1);
                }
            }

            None
        }
        // If WM_SETCURSOR returns `None`, WM_SETCURSOR continues to get handled by the outer window(s),
        // If it returns `Some(1)`, the current window decides what the cursor is
        WM_SETCURSOR => {
            let low_word = lo_word(lparam) as u32;
            let mouse_in_window = low_word == HTCLIENT;
            if mouse_in_window {
                // Here we need to set the cursor back to what the state says, since it can have changed when outside the window
                if let Ok(cursor) = SystemCursor::load(window_state.cursor_icon.get()) {
                    cursor.set()
                }
                Some(1)
            } else {
                // Cursor is being changed by some other window, e.g. when having mouse on the borders to resize it
                None
            }
        }
        WM_GETMINMAXINFO => {
            let sizing = window_state.shared.sizing_strategy;

            // Only implement this message if we actually need to specify a min/max size
            if let (None, None) = (sizing.min_size(), sizing.max_size()) {
                return None;
            }

            let info = lparam as *mut MINMAXINFO;

            let ctx = DpiAwarenessGuard::new(
                &window_state.user32,
                window_state.shared.dpi_scaling_strategy.get(),
            )
            .unwrap();
            let style = window.get_style().unwrap();
            let dpi = window_state.shared.current_dpi.get();

            if let Some(size) = sizing.min_size() {
                let size = size.to_physical(window_state.shared.scale_factor());
                let size = ctx
                    .client_area_to_nc_area(size.into(), style, Some(dpi))
                    .unwrap()
                    .size()
                    .cast();
                let pt = POINT { x: size.width, y: size.height };
                (&raw mut (*info).ptMinTrackSize).write(pt);
            }

            if let Some(size) = sizing.max_size() {
                let size = size.to_physical(window_state.shared.scale_factor());
                let size = ctx
                    .client_area_to_nc_area(size.into(), style, Some(dpi))
                    .unwrap()
                    .size()
                    .cast();
                let pt = POINT { x: size.width, y: size.height };
                (&raw mut (*info).ptMaxTrackSize).write(pt);
            }

            Some(0)
        }
        // NOTE: `WM_NCDESTROY` is handled in the outer function because this deallocates the window
        //        state
        BV_WINDOW_MUST_CLOSE => {
            let _ = window.destroy();
            Some(0)
        }

        BV_REQUEST_REDRAW => {
            window_state.request_redraw();
            Some(0)
        }

        BV_REQUEST_POLL => {
            window_bv.handle_poll();
            Some(0)
        }
        _ => None,
    }
}

impl WindowHandle {
    pub fn create_window(init: WindowInitializer) -> Result<WindowHandle> {
        let extended_user_32 = LibraryModule::load()?;

        let shared_state = WindowSharedState::new(extended_user_32, &init);

        if init.settings.wait_for_parent && init.settings.parent.is_none() {
            return Ok(WindowHandle {
                hwnd: None.into(),
                state: shared_state,
                init: Some(init).into(),
            });
        }

        let window = BaseviewWindow::create(Rc::clone(&shared_state), init)?;

        Ok(WindowHandle { hwnd: Some(window).into(), state: shared_state, init: None.into() })
    }
}

pub fn copy_to_clipboard(_data: &str) {
    unimplemented!()
}
