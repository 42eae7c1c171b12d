//! Test bench: the plugin with a headless editor, hosted in this process, to perform the actions of an editor's
//! buttons.
//!
//! Everything but the editor is [`VoicePlugin`]. Gestures take the same path as those of the real editor, through the
//! framework to the host.

use crate::HostedPlugin;
use clack_host::prelude::PluginEntry;
use clap_sys::entry::clap_plugin_entry;
use clap_sys::factory::plugin_factory::{CLAP_PLUGIN_FACTORY_ID, clap_plugin_factory};
use clap_sys::host::clap_host;
use clap_sys::plugin::{clap_plugin, clap_plugin_descriptor};
use clap_sys::version::CLAP_VERSION;
use nice_plug::context::gui::GuiContext;
use nice_plug::context::process::SendEventError;
use nice_plug::editor::dpi::NativeSize;
use nice_plug::editor::{DummyEditorError, EditorHandle, HostMethods, SpawnedEditor};
use nice_plug::plugin::PluginState;
use nice_plug::prelude::*;
use nice_plug::wrapper::clap::{PluginDescriptor, Wrapper};
use std::cell::RefCell;
use std::error::Error;
use std::ffi::{CStr, c_char, c_void};
use std::sync::{Arc, Mutex, OnceLock};
use voicechain_plugin::gestures::Gestures;
use voicechain_plugin::{Instance, VoicePlugin};

/// Context of the editor while it is open.
type GuiContextSlot = Arc<Mutex<Option<GuiContext>>>;

thread_local! {
    /// Instance created last on this thread.
    static NEWEST: RefCell<Option<(Instance, GuiContextSlot)>> = const { RefCell::new(None) };
}

/// The plugin, with the context of its headless editor.
struct TestPlugin {
    plugin: VoicePlugin,
    gui_context_slot: GuiContextSlot,
}

impl Default for TestPlugin {
    fn default() -> Self {
        let (plugin, gui_context_slot) = (VoicePlugin::default(), GuiContextSlot::default());
        NEWEST.set(Some((plugin.instance(), Arc::clone(&gui_context_slot))));
        Self { plugin, gui_context_slot }
    }
}

/// Forwards the framework's context to the inner plugin.
struct ForwardingContext<'a, C>(&'a mut C);

impl<C: ActivateContext<TestPlugin>> ActivateContext<VoicePlugin> for ForwardingContext<'_, C> {
    fn plugin_api(&self) -> PluginApi {
        self.0.plugin_api()
    }
    fn execute(&self, (): ()) {}
    fn set_latency_samples(&self, samples: u32) {
        self.0.set_latency_samples(samples);
    }
    fn set_current_voice_capacity(&self, capacity: u32) {
        self.0.set_current_voice_capacity(capacity);
    }
}

impl<C: ProcessContext<TestPlugin>> ProcessContext<VoicePlugin> for ForwardingContext<'_, C> {
    fn plugin_api(&self) -> PluginApi {
        self.0.plugin_api()
    }
    fn execute_background(&self, (): ()) {}
    fn execute_gui(&self, (): ()) {}
    fn transport(&self) -> &Transport {
        self.0.transport()
    }
    fn next_event(&mut self) -> Option<PluginNoteEvent<VoicePlugin>> {
        self.0.next_event()
    }
    fn try_send_event(
        &mut self,
        event: PluginNoteEvent<VoicePlugin>,
    ) -> Result<(), (PluginNoteEvent<VoicePlugin>, SendEventError)> {
        self.0.try_send_event(event)
    }
    fn set_latency_samples(&self, samples: u32) {
        self.0.set_latency_samples(samples);
    }
    fn request_restart(&self) {
        self.0.request_restart();
    }
    fn set_current_voice_capacity(&self, capacity: u32) {
        self.0.set_current_voice_capacity(capacity);
    }
}

impl Plugin for TestPlugin {
    const NAME: &'static str = VoicePlugin::NAME;
    const VENDOR: &'static str = VoicePlugin::VENDOR;
    const URL: &'static str = VoicePlugin::URL;
    const EMAIL: &'static str = VoicePlugin::EMAIL;
    const VERSION: &'static str = VoicePlugin::VERSION;
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = VoicePlugin::AUDIO_IO_LAYOUTS;
    const SAMPLE_ACCURATE_AUTOMATION: bool = VoicePlugin::SAMPLE_ACCURATE_AUTOMATION;

    type Editor = HeadlessEditor;
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.plugin.params()
    }
    fn editor(&mut self, _executor: AsyncExecutor<Self>) -> Option<HeadlessEditor> {
        Some(HeadlessEditor(Arc::clone(&self.gui_context_slot)))
    }
    fn filter_state(state: &mut PluginState) {
        VoicePlugin::filter_state(state);
    }
    fn activate(
        &mut self,
        layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        self.plugin.activate(layout, config, &mut ForwardingContext(context))
    }
    fn reset(&mut self) {
        self.plugin.reset();
    }
    fn process(
        &mut self,
        buffer: &mut Buffer,
        aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        self.plugin.process(buffer, aux, &mut ForwardingContext(context))
    }
    fn deactivate(&mut self) {
        self.plugin.deactivate();
    }
}

impl ClapPlugin for TestPlugin {
    const CLAP_ID: &'static str = "org.voicechain.strip.test";
    const CLAP_DESCRIPTION: Option<&'static str> = VoicePlugin::CLAP_DESCRIPTION;
    const CLAP_MANUAL_URL: Option<&'static str> = VoicePlugin::CLAP_MANUAL_URL;
    const CLAP_SUPPORT_URL: Option<&'static str> = VoicePlugin::CLAP_SUPPORT_URL;
    const CLAP_FEATURES: &'static [ClapFeature] = VoicePlugin::CLAP_FEATURES;
}

/// Editor without a window.
struct HeadlessEditor(GuiContextSlot);

/// Open editor; it closes when it is dropped.
struct HeadlessEditorHandle(GuiContextSlot);

impl Editor for HeadlessEditor {
    type Handle = HeadlessEditorHandle;

    fn spawn(
        &self,
        _parent: Option<ParentWindowHandle>,
        _wait_for_parent: bool,
        _fallback_scale_factor: Option<f64>,
        gui_context: GuiContext,
        _host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<HeadlessEditorHandle>, Box<dyn Error>> {
        *self.0.lock().expect("no test panics here") = Some(gui_context);
        Ok(SpawnedEditor { handle: HeadlessEditorHandle(Arc::clone(&self.0)), window: () })
    }
    fn size(&self) -> NativeSize<u32> {
        NativeSize { width: 1, height: 1 }
    }
}

impl Drop for HeadlessEditorHandle {
    fn drop(&mut self) {
        *self.0.lock().expect("no test panics here") = None;
    }
}

impl EditorHandle for HeadlessEditorHandle {
    type Window = ();
    type Error = DummyEditorError;

    fn run_until_closed((): ()) -> Result<(), DummyEditorError> {
        Ok(())
    }
    fn set_parent(&self, _parent: ParentWindowHandle, (): &()) -> Result<(), DummyEditorError> {
        Ok(())
    }
    fn show(&self, (): &()) -> Result<(), DummyEditorError> {
        Ok(())
    }
    fn hide(&self, (): &()) -> Result<(), DummyEditorError> {
        Ok(())
    }
    fn set_size(&self, _new_size: NativeSize<u32>, (): &()) -> Result<(), DummyEditorError> {
        Ok(())
    }
    fn host_main_thread_callback(&self, (): &()) {}
    fn param_value_changed(&self, _id: &str, _normalized_value: f32) {}
    fn param_modulation_changed(&self, _id: &str, _modulation_offset: f32) {}
}

fn descriptor() -> &'static PluginDescriptor {
    static DESCRIPTOR: OnceLock<PluginDescriptor> = OnceLock::new();
    DESCRIPTOR.get_or_init(PluginDescriptor::for_plugin::<TestPlugin>)
}

extern "C" fn count(_factory: *const clap_plugin_factory) -> u32 {
    1
}

extern "C" fn describe(_factory: *const clap_plugin_factory, _index: u32) -> *const clap_plugin_descriptor {
    descriptor().clap_plugin_descriptor()
}

#[allow(unsafe_code)]
extern "C" fn create(
    _factory: *const clap_plugin_factory,
    host: *const clap_host,
    _id: *const c_char,
) -> *const clap_plugin {
    // SAFETY: the host outlives its plugins; the wrapper is freed by its own `destroy`.
    unsafe { (*Arc::into_raw(Wrapper::<TestPlugin>::new(host))).clap_plugin.as_ptr() }
}

static FACTORY: clap_plugin_factory = clap_plugin_factory {
    get_plugin_count: Some(count),
    get_plugin_descriptor: Some(describe),
    create_plugin: Some(create),
};

extern "C" fn init(_path: *const c_char) -> bool {
    true
}

extern "C" fn deinit() {}

#[allow(unsafe_code)]
extern "C" fn factory(id: *const c_char) -> *const c_void {
    // SAFETY: the host passes a valid string.
    if unsafe { CStr::from_ptr(id) } == CLAP_PLUGIN_FACTORY_ID { (&raw const FACTORY).cast() } else { std::ptr::null() }
}

static ENTRY: clap_plugin_entry = clap_plugin_entry {
    clap_version: CLAP_VERSION,
    init: Some(init),
    deinit: Some(deinit),
    get_factory: Some(factory),
};

/// Hosted instance with its headless editor open.
pub struct TestBench {
    /// Instance in its host.
    pub plugin: HostedPlugin,
    /// Shared state that an editor uses.
    pub instance: Instance,
    gui_context_slot: GuiContextSlot,
}

impl TestBench {
    /// Inactive instance with one or two channels and an open headless editor.
    ///
    /// # Panics
    /// If the plugin violates its format.
    #[must_use]
    #[allow(unsafe_code)]
    pub fn new(channels: usize) -> Self {
        // SAFETY: `ENTRY` is a valid static entry.
        let entry = unsafe { PluginEntry::load_from_raw(&ENTRY, c"/test") }.expect("the entry loads");
        let mut plugin = HostedPlugin::with_entry(&entry, channels);
        let (instance, gui_context_slot) = NEWEST.take().expect("an instance was created");
        assert!(plugin.open_editor());
        Self { plugin, instance, gui_context_slot }
    }

    /// Host gestures as the editor's buttons use them.
    ///
    /// # Panics
    /// If the editor is closed.
    #[must_use]
    pub fn host(&self) -> impl Gestures + use<> {
        self.gui_context_slot.lock().expect("no test panics here").clone().expect("the editor is open")
    }

    /// Whether the editor is open.
    #[must_use]
    pub fn editor_is_open(&self) -> bool {
        self.gui_context_slot.lock().is_ok_and(|gui_context_slot| gui_context_slot.is_some())
    }
}
