//! Host callbacks, which record the requests of the plugin.

use clack_extensions::gui::{GuiSize, HostGui, HostGuiImpl};
use clack_extensions::latency::{HostLatency, HostLatencyImpl};
use clack_extensions::log::{HostLog, HostLogImpl, LogSeverity};
use clack_extensions::params::{
    HostParams, HostParamsImplMainThread, HostParamsImplShared, ParamClearFlags, ParamRescanFlags,
};
use clack_extensions::state::{HostState, HostStateImpl};
use clack_extensions::tail::{HostTail, HostTailImpl};
use clack_extensions::thread_check::{HostThreadCheck, HostThreadCheckImpl};
use clack_host::prelude::*;
use std::cell::Cell;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::ThreadId;

thread_local! {
    pub(crate) static IS_AUDIO_THREAD: Cell<bool> = const { Cell::new(false) };
}

/// Recorded requests of the plugin to its host.
#[derive(Debug)]
pub struct HostRequests {
    main: ThreadId,
    /// Requests for a restart.
    pub restarts: AtomicU32,
    /// Requests for a call on the main thread.
    pub callbacks: AtomicU32,
    /// Requests for a parameter flush.
    pub flushes: AtomicU32,
    /// Notifications of a changed latency.
    pub latency_changes: AtomicU32,
    /// Notifications of a changed tail.
    pub tail_changes: AtomicU32,
    /// Notifications of changed parameter values.
    pub rescans: AtomicU32,
    /// Errors reported by the host library, and calls on the wrong thread.
    pub complaints: Mutex<Vec<String>>,
}

impl HostRequests {
    /// No requests yet. The calling thread becomes the main thread.
    pub(crate) fn new() -> Self {
        Self {
            main: std::thread::current().id(),
            restarts: AtomicU32::new(0),
            callbacks: AtomicU32::new(0),
            flushes: AtomicU32::new(0),
            latency_changes: AtomicU32::new(0),
            tail_changes: AtomicU32::new(0),
            rescans: AtomicU32::new(0),
            complaints: Mutex::default(),
        }
    }

    fn main_thread_only(&self, call: &str) {
        if std::thread::current().id() != self.main {
            self.complain(format!("{call} on a thread other than the main one"));
        }
    }

    fn complain(&self, line: String) {
        self.complaints.lock().expect("no test panics here").push(line);
    }
}

/// Host callbacks for any thread.
#[derive(Debug)]
pub struct SharedHost(pub(crate) Arc<HostRequests>);

impl<'a> SharedHandler<'a> for SharedHost {
    fn request_restart(&self) {
        self.0.restarts.fetch_add(1, Ordering::Relaxed);
    }
    fn request_process(&self) {}
    fn request_callback(&self) {
        self.0.callbacks.fetch_add(1, Ordering::Relaxed);
    }
}

impl HostThreadCheckImpl for SharedHost {
    fn is_main_thread(&self) -> bool {
        std::thread::current().id() == self.0.main
    }
    fn is_audio_thread(&self) -> bool {
        IS_AUDIO_THREAD.get()
    }
}

impl HostLogImpl for SharedHost {
    fn log(&self, severity: LogSeverity, message: &str) {
        if severity >= LogSeverity::Error {
            self.0.complain(message.to_string());
        }
    }
}

impl HostParamsImplShared for SharedHost {
    fn request_flush(&self) {
        // Allowed on every thread except the audio thread.
        if IS_AUDIO_THREAD.get() {
            self.0.complain("params.request_flush on the audio thread".into());
        }
        self.0.flushes.fetch_add(1, Ordering::Relaxed);
    }
}

impl HostGuiImpl for SharedHost {
    fn resize_hints_changed(&self) {}
    fn request_resize(&self, _new_size: GuiSize) -> Result<(), HostError> {
        Ok(())
    }
    fn request_show(&self) -> Result<(), HostError> {
        Ok(())
    }
    fn request_hide(&self) -> Result<(), HostError> {
        Ok(())
    }
    fn closed(&self, _was_destroyed: bool) {}
}

/// Host callbacks for the main thread.
#[derive(Debug)]
pub struct MainThreadHost(pub(crate) Arc<HostRequests>);

impl<'a> MainThreadHandler<'a> for MainThreadHost {}

impl HostLatencyImpl for MainThreadHost {
    fn changed(&self) {
        self.0.main_thread_only("latency.changed");
        self.0.latency_changes.fetch_add(1, Ordering::Relaxed);
    }
}

impl HostParamsImplMainThread for MainThreadHost {
    fn rescan(&self, _flags: ParamRescanFlags) {
        self.0.main_thread_only("params.rescan");
        self.0.rescans.fetch_add(1, Ordering::Relaxed);
    }
    fn clear(&self, _param_id: ClapId, _flags: ParamClearFlags) {}
}

impl HostStateImpl for MainThreadHost {
    fn mark_dirty(&self) {
        self.0.main_thread_only("state.mark_dirty");
    }
}

/// Host callbacks for the audio thread.
#[derive(Debug)]
pub struct AudioThreadHost(pub(crate) Arc<HostRequests>);

impl<'a> AudioProcessorHandler<'a> for AudioThreadHost {}

impl HostTailImpl for AudioThreadHost {
    fn changed(&mut self) {
        if !IS_AUDIO_THREAD.get() {
            self.0.complain("tail.changed on a thread other than the audio thread".into());
        }
        self.0.tail_changes.fetch_add(1, Ordering::Relaxed);
    }
}

/// Host type for the host library.
#[derive(Debug)]
pub struct Host;

impl HostHandlers for Host {
    type Shared<'a> = SharedHost;
    type MainThread<'a> = MainThreadHost;
    type AudioProcessor<'a> = AudioThreadHost;

    fn declare_extensions(builder: &mut HostExtensions<Self>, _shared: &Self::Shared<'_>) {
        builder
            .register::<HostThreadCheck>()
            .register::<HostLog>()
            .register::<HostParams>()
            .register::<HostLatency>()
            .register::<HostState>()
            .register::<HostTail>()
            .register::<HostGui>();
    }
}
