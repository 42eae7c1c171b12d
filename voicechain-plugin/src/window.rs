//! The editor's window as hosts know it: the framework's, made anew where a state has brought another size or zoom.
//!
//! The framework asks for an editor once, before any state is loaded, and remembers the size from then on.

use crate::editor::{self, Connection};
use crate::instance::Instance;
use crate::preferences::Preferences;
use crate::scale::Scale;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use nice_plug::editor::{HostMethods, ParentWindowHandle, ResizeHint, SpawnedEditor};
use nice_plug::prelude::{Editor, TrackInfo};
use nice_plug_egui::{EguiEditor, EguiEditorHandle, EguiEditorState};
use std::error::Error;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

struct Made {
    state: Arc<EguiEditorState>,
    editor: EguiEditor<Connection>,
    /// What it was made for, or has become since.
    preferences: Preferences,
    track: Option<TrackInfo>,
}

/// The window of an instance.
pub struct Window {
    instance: Instance,
    scale: Scale,
    made: Mutex<Made>,
}

impl Window {
    pub(crate) fn new(instance: Instance) -> Option<Self> {
        let scale = Scale::default();
        let (preferences, (state, editor)) = (instance.parameters.preferences(), editor::of(instance.clone(), &scale)?);
        Some(Self { instance, scale, made: Mutex::new(Made { state, editor, preferences, track: None }) })
    }

    fn made(&self) -> MutexGuard<'_, Made> {
        self.made.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The editor as the person at this track likes it now; one that is open stays.
    fn renewed(&self) -> MutexGuard<'_, Made> {
        let (mut made, preferences) = (self.made(), self.instance.parameters.preferences());
        if made.preferences != preferences
            && !made.state.is_open()
            && let Some((state, editor)) = editor::of(self.instance.clone(), &self.scale)
        {
            if let Some(track) = &made.track {
                editor.track_info_updated(track.clone());
            }
            (made.state, made.editor, made.preferences) = (state, editor, preferences);
        }
        made
    }
}

impl Editor for Window {
    type Handle = EguiEditorHandle;

    fn spawn(
        &self,
        parent: Option<ParentWindowHandle>,
        wait_for_parent: bool,
        fallback_scale_factor: Option<f64>,
        gui_context: GuiContext,
        host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<Self::Handle>, Box<dyn Error>> {
        if let Some(scale) = fallback_scale_factor {
            self.scale.set(scale);
        }
        self.renewed().editor.spawn(parent, wait_for_parent, fallback_scale_factor, gui_context, host)
    }

    fn size(&self) -> NativeSize<u32> {
        drop(self.renewed());
        // The framework's own size leaves out the zoom until the window was drawn.
        let [width, height] = self.instance.parameters.preferences().size;
        NativeSize::from_size(LogicalSize::new(width, height).into(), self.scale.get())
    }

    fn resize_hint(&self) -> ResizeHint {
        self.made().editor.resize_hint()
    }

    fn track_info_updated(&self, info: TrackInfo) {
        let mut made = self.made();
        made.track = Some(info.clone());
        made.editor.track_info_updated(info);
    }

    #[allow(unsafe_code)]
    unsafe fn assume_standalone_in_process(&self) {
        // SAFETY: the caller promises the same.
        unsafe { self.made().editor.assume_standalone_in_process() }
    }
}
