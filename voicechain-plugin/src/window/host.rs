//! Adapters of the host's callbacks from the framework's types to those of the window layer.

use egui_baseview::baseview::host::{Host, HostCallbacks, HostMainThreadCaller};
use egui_baseview::baseview::{HandlerError, WindowSize};
use nice_plug::editor::{self, HostMethods};

struct CallbackAdapter(Box<dyn editor::HostCallbacks>);

impl HostCallbacks for CallbackAdapter {
    fn request_resize(&mut self, size: WindowSize) -> Result<(), HandlerError> {
        self.0.request_resize(size.physical.into(), size.scale_factor).map_err(HandlerError::from_boxed)
    }

    fn destroyed(&mut self) {
        self.0.destroyed();
    }
}

struct MainThreadAdapter(Box<dyn editor::HostMainThreadCaller>);

impl HostMainThreadCaller for MainThreadAdapter {
    fn call_main_thread(&mut self) {
        self.0.call_main_thread();
    }
}

/// Host callbacks for the window layer.
pub(super) fn of(methods: HostMethods) -> Host {
    Host::new()
        .with_callbacks(CallbackAdapter(methods.callbacks))
        .with_main_thread(MainThreadAdapter(methods.main_thread_caller))
}
