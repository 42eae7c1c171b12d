//! CLAP host for tests: loads the built plugin, separates main and audio thread, and records the plugin's requests.

mod host;
pub mod raw_calls;
pub mod resources;
pub mod screen;
pub mod test_bench;
pub mod vst3_host;

use clack_extensions::audio_ports_config::{AudioPortsConfigBuffer, PluginAudioPortsConfig};
use clack_extensions::gui::{GuiApiType, GuiConfiguration, GuiSize, PluginGui, Window};
use clack_extensions::latency::PluginLatency;
use clack_extensions::params::{ParamInfoBuffer, ParamInfoFlags, PluginParams};
use clack_extensions::remote_controls::{PluginRemoteControls, RemoteControlsPageBuffer};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_extensions::state::PluginState;
use clack_extensions::tail::{PluginTail, TailLength};
use clack_host::events::Pckn;
use clack_host::events::event_types::ParamValueEvent;
use clack_host::events::spaces::CoreEventSpace;
use clack_host::prelude::*;
use host::{AudioThreadHost, IS_AUDIO_THREAD, MainThreadHost, SharedHost};
pub use host::{Host, HostRequests};
use std::ffi::CString;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use voicechain_core::StripSettings;
use voicechain_core::settings::{self, SettingInfo};
use voicechain_core::units::Unit;

/// Path of the plugin that cargo built for this test.
///
/// # Panics
/// If the file does not exist.
#[must_use]
pub fn plugin_file() -> PathBuf {
    let name = format!("{}voicechain_plugin{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
    let test = std::env::current_exe().expect("a test has a path");
    let file = test.parent().expect("a folder").join(name);
    assert!(file.exists(), "the plugin was not built beside the test");
    file
}

/// Plugin entry of [`plugin_file`].
///
/// # Panics
/// If the file does not load.
#[must_use]
#[allow(unsafe_code)]
pub fn entry() -> PluginEntry {
    // SAFETY: the file is the plugin that this workspace builds.
    unsafe { PluginEntry::load(plugin_file()) }.expect("the plugin loads")
}

/// Parameter as the host sees it.
#[derive(Clone, Debug)]
pub struct ParameterInfo {
    /// CLAP id.
    pub id: ClapId,
    /// Name.
    pub name: String,
    /// Module (group).
    pub module: String,
    /// Flags.
    pub flags: ParamInfoFlags,
    /// Minimum, maximum and default, as CLAP values.
    pub range: [f64; 3],
}

/// Automation of one parameter at one frame of the signal.
#[derive(Clone, Copy, Debug)]
pub struct AutomationPoint {
    /// Frame.
    pub at: usize,
    /// Row of the table of settings.
    pub info: &'static SettingInfo,
    /// Value in the unit of the row.
    pub value: f64,
}

/// Parameter event from the plugin to its host.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ParameterEvent {
    /// A gesture begins.
    Begin(ClapId),
    /// New value.
    Value(ClapId, f64),
    /// The gesture ends.
    End(ClapId),
}

fn collect_parameter_events(events: &EventBuffer, to: &mut Vec<ParameterEvent>) {
    to.extend(events.iter().filter_map(|event| match event.as_core_event()? {
        CoreEventSpace::ParamGestureBegin(event) => event.param_id().map(ParameterEvent::Begin),
        CoreEventSpace::ParamValue(event) => event.param_id().map(|id| ParameterEvent::Value(id, event.value())),
        CoreEventSpace::ParamGestureEnd(event) => event.param_id().map(ParameterEvent::End),
        _ => None,
    }));
}

/// Capacity for the output events of one block, so that the host does not allocate while processing.
const MAX_OUTPUT_EVENTS: usize = 4_096;

/// Page of remote controls.
#[derive(Clone, Debug, PartialEq)]
pub struct RemoteControlsPage {
    /// Section of the page.
    pub section: String,
    /// Name.
    pub name: String,
    /// Id.
    pub id: ClapId,
    /// Parameters.
    pub parameters: Vec<Option<ClapId>>,
}

/// Instance of the plugin, with its recorded requests.
pub struct HostedPlugin {
    instance: PluginInstance<Host>,
    processor: Option<PluginAudioProcessor<Host>>,
    /// Requests of the plugin to its host.
    pub requests: Arc<HostRequests>,
    channels: usize,
    parameters: Vec<ParameterInfo>,
    /// Parameter events from the plugin, in order.
    pub parameter_events: Vec<ParameterEvent>,
}

fn text_of(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("names are UTF-8")
}

/// CLAP parameter value for a value of a row.
#[must_use]
pub fn clap_value(info: &SettingInfo, value: f64) -> f64 {
    match info.unit {
        Unit::Switch | Unit::Choice => value,
        _ => f64::from(info.position_of(value) as f32),
    }
}

/// Numeric id that the framework derives from a string id: `h = 31 h + byte` in 32 bits, highest bit cleared.
#[must_use]
pub fn number_of(id: &str) -> u32 {
    id.bytes().fold(0_u32, |h, byte| h.wrapping_mul(31).wrapping_add(u32::from(byte))) & 0x7FFF_FFFF
}

/// Normalised VST3 parameter value for a value of a row.
#[must_use]
pub fn vst3_position(info: &SettingInfo, value: f64) -> f64 {
    let steps = if matches!(info.unit, Unit::Switch | Unit::Choice) { info.max } else { 1.0 };
    clap_value(info, value) / steps
}

impl HostedPlugin {
    /// Inactive instance with one or two channels.
    ///
    /// # Panics
    /// If the plugin violates its format.
    #[must_use]
    pub fn new(channels: usize) -> Self {
        Self::with_entry(&entry(), channels)
    }

    /// Inactive instance of the first plugin of an entry.
    pub(crate) fn with_entry(entry: &PluginEntry, channels: usize) -> Self {
        let requests = Arc::new(HostRequests::new());
        let info = HostInfo::new("voicechain tests", "voicechain", "https://example.com", "1").expect("no NUL");
        let factory = entry.get_plugin_factory().expect("a factory");
        let descriptor = factory.plugin_descriptor(0).expect("one plugin");
        let id = CString::from(descriptor.id().expect("an id"));
        let (shared, main) = (Arc::clone(&requests), Arc::clone(&requests));
        let mut instance =
            PluginInstance::<Host>::new(|_| SharedHost(shared), |_| MainThreadHost(main), entry, &id, &info)
                .expect("an instance");
        let handle = instance.plugin_handle();
        let ports: PluginAudioPortsConfig = handle.get_extension().expect("layouts");
        let mut buffer = AudioPortsConfigBuffer::new();
        let layouts: Vec<_> = (0..ports.count(&handle))
            .filter_map(|index| {
                ports.get(&handle, index, &mut buffer).map(|c| (c.id, c.main_output.map(|m| m.channel_count)))
            })
            .collect();
        let wanted = layouts.iter().find(|(_, count)| *count == Some(channels as u32)).expect("this layout");
        ports.select(&handle, wanted.0).expect("the layout");
        let mut plugin = Self {
            instance,
            processor: None,
            requests,
            channels,
            parameters: Vec::new(),
            parameter_events: Vec::new(),
        };
        plugin.parameters = plugin.scan();
        plugin
    }

    /// Current parameter descriptions.
    ///
    /// # Panics
    /// If a description is missing.
    pub fn scan(&mut self) -> Vec<ParameterInfo> {
        let handle = self.instance.plugin_handle();
        let params: PluginParams = handle.get_extension().expect("parameters");
        let mut buffer = ParamInfoBuffer::new();
        let describe = |index| {
            let info = params.get_info(&handle, index, &mut buffer).expect("a description of every parameter");
            ParameterInfo {
                id: info.id,
                name: text_of(info.name),
                module: text_of(info.module),
                flags: info.flags,
                range: [info.min_value, info.max_value, info.default_value],
            }
        };
        (0..params.count(&handle)).map(describe).collect()
    }

    /// Parameters in the plugin's order: bypass, loudness match, then the rows of the table.
    #[must_use]
    pub fn parameters(&self) -> &[ParameterInfo] {
        &self.parameters
    }

    /// Parameter of a row.
    ///
    /// # Panics
    /// If the row is not in the table.
    #[must_use]
    pub fn parameter(&self, info: &SettingInfo) -> &ParameterInfo {
        let row = settings::rows().position(|row| row.id == info.id).expect("a row of the table");
        &self.parameters[row + 2]
    }

    fn params(&mut self) -> PluginParams {
        self.instance.plugin_handle().get_extension().expect("parameters")
    }

    /// Value that the host sees.
    pub fn value(&mut self, id: ClapId) -> Option<f64> {
        let params = self.params();
        params.get_value(&self.instance.plugin_handle(), id)
    }

    /// Text for a value.
    pub fn text(&mut self, id: ClapId, value: f64) -> Option<String> {
        let params = self.params();
        let mut buffer = [0; 128];
        params.value_to_text(&self.instance.plugin_handle(), id, value, &mut buffer).ok().map(|text| text_of(text))
    }

    /// Value for a text.
    pub fn parse(&mut self, id: ClapId, text: &str) -> Option<f64> {
        let params = self.params();
        let text = CString::new(text).ok()?;
        params.text_to_value(&self.instance.plugin_handle(), id, &text)
    }

    /// Sets parameters while the plugin is inactive, and collects its parameter events.
    ///
    /// # Panics
    /// If the plugin is active.
    pub fn flush(&mut self, values: &[(ClapId, f64)]) {
        let params = self.params();
        let mut events = EventBuffer::new();
        for &(id, value) in values {
            events.push(&ParamValueEvent::new(0, id, Pckn::match_all(), value));
        }
        let mut handle = self.instance.inactive_plugin_handle().expect("not active");
        let mut out = EventBuffer::with_capacity(MAX_OUTPUT_EVENTS);
        params.flush(&mut handle, &events.as_input(), &mut out.as_output());
        collect_parameter_events(&out, &mut self.parameter_events);
    }

    /// Creates the editor without a window; returns false if the plugin has none or refuses.
    pub fn open_editor(&mut self) -> bool {
        let handle = self.instance.plugin_handle();
        let Some(gui) = handle.get_extension::<PluginGui>() else { return false };
        let Some(api_type) = GuiApiType::default_for_current_platform() else { return false };
        gui.create(&handle, GuiConfiguration { api_type, is_floating: false }).is_ok()
    }

    /// Opens the editor in a window of the host; returns its size in pixels.
    ///
    /// # Errors
    /// Name of the call that the plugin refused.
    pub fn open_window(&mut self, window: u32) -> Result<[u32; 2], &'static str> {
        let size = self.embed(window)?;
        self.show_window()?;
        Ok(size)
    }

    /// Creates the editor in a window of the host without showing it; returns its size in pixels.
    ///
    /// # Errors
    /// Name of the call that the plugin refused.
    #[allow(unsafe_code)]
    pub fn embed(&mut self, window: u32) -> Result<[u32; 2], &'static str> {
        let handle = self.instance.plugin_handle();
        let gui = handle.get_extension::<PluginGui>().ok_or("no editor")?;
        let configuration = GuiConfiguration { api_type: GuiApiType::X11, is_floating: false };
        gui.create(&handle, configuration).map_err(|_| "create")?;
        let size = gui.get_size(&handle).ok_or("get_size")?;
        // SAFETY: the test keeps the window until it has closed the editor.
        unsafe { gui.set_parent(&handle, Window::from_x11_handle(window.into())) }.map_err(|_| "set_parent")?;
        Ok([size.width, size.height])
    }

    /// Shows the embedded editor.
    ///
    /// # Errors
    /// Name of the call that the plugin refused.
    pub fn show_window(&mut self) -> Result<(), &'static str> {
        let handle = self.instance.plugin_handle();
        let gui = handle.get_extension::<PluginGui>().ok_or("no editor")?;
        gui.show(&handle).map_err(|_| "show")
    }

    /// Hides the editor.
    ///
    /// # Errors
    /// Name of the call that the plugin refused.
    pub fn hide_window(&mut self) -> Result<(), &'static str> {
        let handle = self.instance.plugin_handle();
        let gui = handle.get_extension::<PluginGui>().ok_or("no editor")?;
        gui.hide(&handle).map_err(|_| "hide")
    }

    /// Sets the size of the editor in pixels; returns false if the plugin refuses.
    pub fn resize_editor(&mut self, width: u32, height: u32) -> bool {
        let handle = self.instance.plugin_handle();
        let Some(gui) = handle.get_extension::<PluginGui>() else { return false };
        gui.can_resize(&handle) && gui.set_size(&handle, GuiSize { width, height }).is_ok()
    }

    /// Size of the editor in pixels, as the plugin reports it.
    pub fn editor_size(&mut self) -> Option<[u32; 2]> {
        let handle = self.instance.plugin_handle();
        let size = handle.get_extension::<PluginGui>()?.get_size(&handle)?;
        Some([size.width, size.height])
    }

    /// Closes the editor.
    pub fn close_editor(&mut self) {
        let handle = self.instance.plugin_handle();
        if let Some(gui) = handle.get_extension::<PluginGui>() {
            gui.destroy(&handle);
        }
    }

    /// Pages of remote controls; empty if the plugin has none.
    pub fn remote_controls(&mut self) -> Vec<RemoteControlsPage> {
        let handle = self.instance.plugin_handle();
        let Some(pages) = handle.get_extension::<PluginRemoteControls>() else { return Vec::new() };
        let mut buffer = RemoteControlsPageBuffer::new();
        let mut list = Vec::new();
        for index in 0..pages.count(&handle) {
            if let Some(page) = pages.get(&handle, index, &mut buffer) {
                list.push(RemoteControlsPage {
                    section: text_of(page.section_name),
                    name: text_of(page.page_name),
                    id: page.page_id,
                    parameters: page.param_ids.to_vec(),
                });
            }
        }
        list
    }

    /// Raw CLAP plugin, for calls that the host library does not permit.
    #[must_use]
    pub fn raw(&self) -> raw_calls::RawPlugin {
        raw_calls::RawPlugin::of(self.instance.raw_instance())
    }

    /// Whether the plugin is active.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.processor.is_some()
    }

    /// Sets all rows while the plugin is inactive.
    pub fn set_all(&mut self, settings: &StripSettings) {
        let value = |info: &SettingInfo| clap_value(info, settings.get(info.id).unwrap_or(info.default));
        let values: Vec<_> = settings::rows().map(|info| (self.parameter(info).id, value(info))).collect();
        self.flush(&values);
    }

    /// Activates at a sample rate, for blocks of at most `max_frames` frames; returns false if the plugin refuses.
    pub fn activate(&mut self, rate_hz: f64, max_frames: u32) -> bool {
        let configuration =
            PluginAudioConfiguration { sample_rate: rate_hz, min_frames_count: 1, max_frames_count: max_frames };
        let requests = Arc::clone(&self.requests);
        let activated = self.instance.activate(|_, _| AudioThreadHost(requests), configuration);
        self.processor = activated.ok().map(PluginAudioProcessor::from);
        self.main_thread();
        self.processor.is_some()
    }

    /// Deactivates.
    pub fn deactivate(&mut self) {
        if let Some(processor) = self.processor.take() {
            self.instance.deactivate(processor.into_stopped());
        }
    }

    /// Calls the plugin on the main thread if it has requested it.
    pub fn main_thread(&mut self) {
        if self.requests.callbacks.swap(0, Ordering::Relaxed) > 0 {
            self.instance.call_on_main_thread_callback();
        }
    }

    /// Resets on the audio thread.
    ///
    /// # Panics
    /// If the plugin is inactive.
    pub fn reset(&mut self) {
        self.processor.as_mut().expect("active").reset();
    }

    /// Selects offline or real-time rendering.
    ///
    /// # Panics
    /// If the plugin refuses.
    pub fn render_offline(&mut self, offline: bool) {
        let mode = if offline { RenderMode::Offline } else { RenderMode::Realtime };
        let handle = self.instance.plugin_handle();
        let render: PluginRender = handle.get_extension().expect("render");
        assert!(!render.has_realtime_requirement(&handle), "the plugin has no real-time requirement");
        render.set(&handle, mode).expect("both modes are accepted");
    }

    /// Latency, frames.
    pub fn latency(&mut self) -> u32 {
        let handle = self.instance.plugin_handle();
        let latency: PluginLatency = handle.get_extension().expect("latency");
        latency.get(&handle)
    }

    /// Tail, frames.
    ///
    /// # Panics
    /// If the plugin is inactive.
    pub fn tail(&mut self) -> TailLength {
        let tail: PluginTail = self.instance.plugin_handle().get_extension().expect("tail");
        tail.get(&self.processor.as_mut().expect("active").plugin_handle())
    }

    /// Saved state; `None` if the plugin fails.
    ///
    /// # Panics
    /// If the plugin has no state extension.
    pub fn save(&mut self) -> Option<Vec<u8>> {
        let handle = self.instance.plugin_handle();
        let state: PluginState = handle.get_extension().expect("state");
        let mut bytes = Vec::new();
        state.save(&handle, &mut bytes).ok().map(|()| bytes)
    }

    /// Loads a state; returns false if the plugin refuses it.
    ///
    /// # Panics
    /// If the plugin has no state extension.
    pub fn load(&mut self, mut bytes: &[u8]) -> bool {
        self.load_from(&mut bytes)
    }

    /// As [`load`](Self::load), from a stream that may return fewer bytes than requested.
    ///
    /// # Panics
    /// If the plugin has no state extension.
    pub fn load_from(&mut self, stream: &mut impl std::io::Read) -> bool {
        let handle = self.instance.plugin_handle();
        let state: PluginState = handle.get_extension().expect("state");
        let loaded = state.load(&handle, stream).is_ok();
        self.main_thread();
        loaded
    }

    /// Processes planar channels in place on an audio thread, in blocks of the lengths that `block` returns. The
    /// automation is applied at its exact frames, counted from the first of `signal`; it must be in the order of
    /// frames.
    ///
    /// # Panics
    /// If the plugin fails.
    pub fn run(
        &mut self,
        signal: &mut [Vec<f32>],
        automation: &[AutomationPoint],
        block: impl FnMut() -> usize + Send,
    ) {
        self.run_beside(signal, automation, block, |_| ());
    }

    /// As [`run`](Self::run), while the main thread calls `meanwhile`.
    ///
    /// # Panics
    /// If the plugin fails.
    pub fn run_beside(
        &mut self,
        signal: &mut [Vec<f32>],
        automation: &[AutomationPoint],
        mut block: impl FnMut() -> usize + Send,
        meanwhile: impl FnOnce(&mut Self),
    ) {
        assert_eq!(signal.len(), self.channels);
        let ids: Vec<ClapId> = automation.iter().map(|m| self.parameter(m.info).id).collect();
        let mut processor = self.processor.take().expect("active");
        let worker = || {
            IS_AUDIO_THREAD.set(true);
            let started = processor.ensure_processing_started().expect("processing starts");
            let (mut at, mut next) = (0, 0);
            let length = signal[0].len();
            let (mut input_ports, mut output_ports) =
                (AudioPorts::with_capacity(2, 1), AudioPorts::with_capacity(2, 1));
            let mut events = EventBuffer::with_capacity(1_000);
            let mut out = EventBuffer::with_capacity(MAX_OUTPUT_EVENTS);
            let mut all = Vec::new();
            while at < length {
                let n = block().clamp(1, length - at);
                events.clear();
                while next < automation.len() && automation[next].at < at + n {
                    let AutomationPoint { at: when, info, value } = automation[next];
                    let event =
                        ParamValueEvent::new((when - at) as u32, ids[next], Pckn::match_all(), clap_value(info, value));
                    events.push(&event);
                    next += 1;
                }
                let mut input: Vec<Vec<f32>> = signal.iter().map(|channel| channel[at..at + n].to_vec()).collect();
                let input = input_ports.with_input_buffers([AudioPortBuffer {
                    latency: 0,
                    channels: AudioPortBufferType::f32_input_only(input.iter_mut().map(InputChannel::variable)),
                }]);
                let mut output = output_ports.with_output_buffers([AudioPortBuffer {
                    latency: 0,
                    channels: AudioPortBufferType::f32_output_only(
                        signal.iter_mut().map(|channel| &mut channel[at..at + n]),
                    ),
                }]);
                started
                    .process(&input, &mut output, &events.as_input(), &mut out.as_output(), None, None)
                    .expect("the plugin processes");
                collect_parameter_events(&out, &mut all);
                out.clear();
                at += n;
            }
            (processor, all)
        };
        let (processor, all) = std::thread::scope(|scope| {
            let audio = scope.spawn(worker);
            meanwhile(self);
            audio.join()
        })
        .expect("the audio thread does not panic");
        self.processor = Some(processor);
        self.parameter_events.extend(all);
        self.main_thread();
    }
}

impl Drop for HostedPlugin {
    fn drop(&mut self) {
        self.deactivate();
    }
}
