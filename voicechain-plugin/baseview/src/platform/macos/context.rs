use crate::dpi::Size;
use crate::platform::macos::view::BaseviewView;
use crate::platform::{PlatformError, PlatformHandle, WindowSharedState};
use crate::platform::{Result, WindowWaker};
use crate::wrappers::appkit::{View, ViewRef};
use crate::*;
use dispatch2::MainThreadBound;
use objc2::rc::{autoreleasepool, Weak};
use objc2::runtime::NSObjectProtocol;
use objc2::{MainThreadMarker, Message};
use raw_window_handle::DisplayHandle;
use std::rc::Rc;
use std::time::Duration;

#[derive(Clone)]
pub struct WindowContext {
    mtm: MainThreadMarker,
    view: Weak<View<BaseviewView>>,
    state: Rc<WindowSharedState>,
}

impl WindowContext {
    pub(crate) fn new(view: ViewRef<'_, BaseviewView>) -> Self {
        Self {
            view: Weak::from_retained(&view.view.retain()),
            state: Rc::clone(&view.state),
            mtm: view.mtm,
        }
    }

    pub fn request_close(&self) {
        let Some(view) = self.view.load() else { return };
        let Some(view) = view.inner_ref() else { return };

        autoreleasepool(|_| {
            BaseviewView::close(view, false);
        });
    }

    pub fn request_redraw(&self) {
        self.state.redraw_requested.set(true);
        let Some(view) = self.view.load() else { return };
        let Some(view) = view.inner() else { return };
        view.set_next_frame_needed(true);
    }

    pub fn request_redraw_after(&self, duration: Duration) {
        self.waker().request_redraw_after(duration);
    }

    pub fn waker(&self) -> WindowWaker {
        WindowWaker::new(Weak::clone(&self.view))
    }

    pub fn has_focus(&self) -> bool {
        let Some(view) = self.view.load() else { return false };
        let Some(window) = view.window() else {
            return false;
        };

        if !window.isKeyWindow() {
            return false;
        }

        let Some(first_responder) = window.firstResponder() else {
            return false;
        };

        view.isEqual(Some(&*first_responder))
    }

    pub fn focus(&self) -> Result<()> {
        let Some(view) = self.view.load() else { return Ok(()) };

        autoreleasepool(|_| {
            if let Some(window) = view.window() {
                window.makeFirstResponder(Some(&view));
            }
        });

        Ok(())
    }

    pub fn resize(&self, size: Size) -> Result<()> {
        if self.state.closed.get() {
            return Ok(());
        }

        let Some(view) = self.view.load() else { return Ok(()) };
        let Some(view) = view.inner_ref() else { return Ok(()) };

        let size = self.state.sizing_strategy.adjust_size(size, self.size()).logical;

        autoreleasepool(|_| {
            BaseviewView::resize(view, size, true, false);
        });

        Ok(())
    }

    pub fn set_mouse_cursor(&self, cursor: MouseCursor) -> Result<()> {
        let Some(view) = self.view.load() else { return Ok(()) };
        let Some(view) = view.inner_ref() else { return Ok(()) };

        autoreleasepool(|_| {
            view.inner.cursor_manager.set_cursor(cursor);
        });

        Ok(())
    }

    pub fn size(&self) -> WindowSize {
        WindowSize::from_logical(self.state.size.get(), self.state.scale_factor.get())
    }

    pub fn scale_factor(&self) -> f64 {
        self.state.scale_factor.get()
    }

    #[cfg(feature = "opengl")]
    pub fn gl_context(&self) -> Option<crate::gl::GlContext> {
        autoreleasepool(|_| {
            Some(crate::gl::GlContext::new(self.view.load()?.inner()?.gl_context.get()?.clone()))
        })
    }

    pub fn window_handle(&self) -> Option<raw_window_handle::WindowHandle<'_>> {
        View::window_handle_from_weak(&self.view)
    }

    pub fn display_handle(&self) -> DisplayHandle<'_> {
        DisplayHandle::appkit()
    }

    pub fn platform_handle(&self) -> PlatformHandle {
        PlatformHandle { inner: MainThreadBound::new(self.view.clone(), self.mtm) }
    }

    #[inline]
    pub fn create_timer(&self, duration: Duration) -> Result<super::TimerHandle> {
        let Some(view_retained) = self.view.load() else {
            return Err(PlatformError::InvalidWindowContext);
        };

        let Some(view) = view_retained.inner_ref() else {
            return Err(PlatformError::InvalidWindowContext);
        };

        autoreleasepool(|_| Ok(view.create_timer(&view_retained, duration)))
    }
}
