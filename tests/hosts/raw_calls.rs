//! Raw CLAP calls, for what the host library does not permit.

use crate::host::IS_AUDIO_THREAD;
use clap_sys::audio_buffer::clap_audio_buffer;
use clap_sys::events::{
    CLAP_CORE_EVENT_SPACE_ID, CLAP_EVENT_PARAM_VALUE, clap_event_header, clap_event_param_value, clap_input_events,
    clap_output_events,
};
use clap_sys::ext::params::{CLAP_EXT_PARAMS, clap_param_info, clap_plugin_params};
use clap_sys::plugin::clap_plugin;
use clap_sys::process::clap_process;
use std::ptr;

/// Raw CLAP plugin.
#[derive(Clone, Copy, Debug)]
pub struct RawPlugin(usize);

/// Parameter value event with arbitrary fields.
#[derive(Clone, Copy, Debug)]
pub struct Event(clap_event_param_value);

impl Event {
    /// Value for a parameter at a frame of the block.
    #[must_use]
    pub fn new(time: u32, id: u32, value: f64) -> Self {
        Self(clap_event_param_value {
            header: clap_event_header {
                size: size_of::<clap_event_param_value>() as u32,
                time,
                space_id: CLAP_CORE_EVENT_SPACE_ID,
                type_: CLAP_EVENT_PARAM_VALUE,
                flags: 0,
            },
            param_id: id,
            cookie: ptr::null_mut(),
            note_id: -1,
            port_index: -1,
            channel: -1,
            key: -1,
            value,
        })
    }

    /// The same event in another event space, which is unknown to the plugin.
    #[must_use]
    pub fn in_space(mut self, space: u16) -> Self {
        self.0.header.space_id = space;
        self
    }
}

#[allow(unsafe_code)]
extern "C" fn count(list: *const clap_input_events) -> u32 {
    // SAFETY: `process` sets the context to such a slice.
    let events = unsafe { *(*list).ctx.cast::<&[Event]>() };
    events.len() as u32
}

#[allow(unsafe_code)]
extern "C" fn get(list: *const clap_input_events, index: u32) -> *const clap_event_header {
    // SAFETY: as above.
    let events = unsafe { *(*list).ctx.cast::<&[Event]>() };
    events.get(index as usize).map_or(ptr::null(), |event| &raw const event.0.header)
}

extern "C" fn accept_event(_list: *const clap_output_events, _event: *const clap_event_header) -> bool {
    true
}

/// Layout of the buffers of a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Buffers {
    /// Output and input share a buffer.
    InPlace,
    /// Output and input have separate buffers.
    Apart,
    /// Separate buffers, with the input marked as constant.
    MarkedConstant,
}

impl RawPlugin {
    pub(crate) fn of(plugin: &clap_plugin) -> Self {
        Self(ptr::from_ref(plugin) as usize)
    }

    /// Calls `with` on a thread that the host treats as the audio thread.
    ///
    /// # Panics
    /// If `with` panics.
    pub fn on_audio_thread<T: Send>(self, with: impl FnOnce(Self) -> T + Send) -> T {
        let work = || {
            IS_AUDIO_THREAD.set(true);
            with(self)
        };
        std::thread::scope(|scope| scope.spawn(work).join()).expect("the audio thread does not panic")
    }

    #[allow(unsafe_code)]
    fn plugin(self) -> &'static clap_plugin {
        // SAFETY: the caller keeps the instance alive.
        unsafe { &*(self.0 as *const clap_plugin) }
    }

    /// Whether the plugin describes a parameter at this index.
    #[must_use]
    #[allow(unsafe_code)]
    pub fn has_parameter(self, index: u32) -> bool {
        // SAFETY: the extension has this type; the description is plain data that the plugin fills.
        unsafe {
            let Some(get) = self.plugin().get_extension else { return false };
            let params = get(self.plugin(), CLAP_EXT_PARAMS.as_ptr()).cast::<clap_plugin_params>();
            let mut info: clap_param_info = std::mem::zeroed();
            params
                .as_ref()
                .and_then(|params| params.get_info)
                .is_some_and(|get| get(self.plugin(), index, &raw mut info))
        }
    }

    /// Starts processing; returns false if the plugin refuses.
    #[must_use]
    #[allow(unsafe_code)]
    pub fn start(self) -> bool {
        // SAFETY: the plugin is active.
        self.plugin().start_processing.is_some_and(|start| unsafe { start(self.plugin()) })
    }

    /// Stops processing.
    #[allow(unsafe_code)]
    pub fn stop(self) {
        if let Some(stop) = self.plugin().stop_processing {
            // SAFETY: the plugin is active.
            unsafe { stop(self.plugin()) }
        }
    }

    /// Clears the signal state.
    #[allow(unsafe_code)]
    pub fn reset(self) {
        if let Some(reset) = self.plugin().reset {
            // SAFETY: the plugin is active.
            unsafe { reset(self.plugin()) }
        }
    }

    /// Whether the plugin has an extension.
    #[must_use]
    #[allow(unsafe_code)]
    pub fn has(self, extension: &std::ffi::CStr) -> bool {
        // SAFETY: `extension` is a valid string.
        self.plugin().get_extension.is_some_and(|get| unsafe { !get(self.plugin(), extension.as_ptr()).is_null() })
    }

    /// Processes the first `frames` frames of the channels in place; returns the plugin's status. Without `events`, the
    /// lists of events are null.
    ///
    /// # Panics
    /// If the plugin has no process function.
    #[must_use]
    pub fn process(self, signal: &mut [Vec<f32>], frames: usize, buffers: Buffers, events: Option<&[Event]>) -> i32 {
        self.process_within(signal, frames, buffers, events, |call| call())
    }

    /// As [`process`](Self::process); `within` performs the bare call.
    ///
    /// # Panics
    /// If the plugin has no process function.
    #[must_use]
    pub fn process_within(
        self,
        signal: &mut [Vec<f32>],
        frames: usize,
        buffers: Buffers,
        events: Option<&[Event]>,
        within: impl FnOnce(&dyn Fn() -> i32) -> i32,
    ) -> i32 {
        self.call(signal, frames, buffers, events, within).0
    }

    /// As [`process`](Self::process); also returns the mask of the output channels that the plugin marks as constant.
    ///
    /// # Panics
    /// If the plugin has no process function.
    #[must_use]
    pub fn process_with_mask(self, signal: &mut [Vec<f32>], buffers: Buffers) -> (i32, u64) {
        let frames = signal.first().map_or(0, Vec::len);
        self.call(signal, frames, buffers, Some(&[]), |call| call())
    }

    #[allow(unsafe_code)]
    fn call(
        self,
        signal: &mut [Vec<f32>],
        frames: usize,
        buffers: Buffers,
        events: Option<&[Event]>,
        within: impl FnOnce(&dyn Fn() -> i32) -> i32,
    ) -> (i32, u64) {
        let mut inputs: Vec<Vec<f32>> = signal.to_vec();
        let apart = buffers != Buffers::InPlace;
        let mut out: Vec<*mut f32> = signal.iter_mut().map(|channel| channel.as_mut_ptr()).collect();
        let mut into: Vec<*mut f32> =
            if apart { inputs.iter_mut().map(|channel| channel.as_mut_ptr()).collect() } else { out.clone() };
        let channels = out.len() as u32;
        let constant_mask = if buffers == Buffers::MarkedConstant { u64::MAX >> (64 - channels) } else { 0 };
        let port = |data32: *mut *mut f32, constant_mask| clap_audio_buffer {
            data32,
            data64: ptr::null_mut(),
            channel_count: channels,
            latency: 0,
            constant_mask,
        };
        let (input, mut output) = (port(into.as_mut_ptr(), constant_mask), port(out.as_mut_ptr(), 0));
        let mut listed = events.unwrap_or_default();
        let in_events = clap_input_events { ctx: (&raw mut listed).cast(), size: Some(count), get: Some(get) };
        let out_events = clap_output_events { ctx: ptr::null_mut(), try_push: Some(accept_event) };
        let call = clap_process {
            steady_time: -1,
            frames_count: frames as u32,
            transport: ptr::null(),
            audio_inputs: &raw const input,
            audio_outputs: &raw mut output,
            audio_inputs_count: 1,
            audio_outputs_count: 1,
            in_events: if events.is_some() { &raw const in_events } else { ptr::null() },
            out_events: if events.is_some() { &raw const out_events } else { ptr::null() },
        };
        let process = self.plugin().process.expect("a plugin processes");
        // SAFETY: all pointers of the call are valid until it returns.
        let status = within(&|| unsafe { process(self.plugin(), &raw const call) });
        (status, output.constant_mask)
    }
}
