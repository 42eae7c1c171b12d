//! CLAP: entry point, and the plugin object in front of the framework's.

use super::clap_events::BoundedEvents;
use super::silence::silent_channels;
use super::{choices, state_accepted};
use crate::instance::Instance;
use crate::plugin::VoicePlugin;
use clap_sys::entry::clap_plugin_entry;
use clap_sys::ext::params::{
    CLAP_EXT_PARAMS, CLAP_PARAM_IS_ENUM, CLAP_PARAM_IS_STEPPED, clap_param_info, clap_plugin_params,
};
use clap_sys::ext::state::{CLAP_EXT_STATE, clap_plugin_state};
use clap_sys::ext::tail::{CLAP_EXT_TAIL, clap_host_tail, clap_plugin_tail};
use clap_sys::factory::plugin_factory::{CLAP_PLUGIN_FACTORY_ID, clap_plugin_factory};
use clap_sys::host::clap_host;
use clap_sys::plugin::{clap_plugin, clap_plugin_descriptor};
use clap_sys::process::{
    CLAP_PROCESS_CONTINUE, CLAP_PROCESS_ERROR, CLAP_PROCESS_SLEEP, clap_process, clap_process_status,
};
use clap_sys::stream::clap_istream;
use clap_sys::version::CLAP_VERSION;
use nice_plug::wrapper::clap::{PluginDescriptor, Wrapper};
use nice_plug::wrapper::setup_logger;
use std::collections::BTreeSet;
use std::ffi::{CStr, c_char, c_void};
use std::ptr;
use std::sync::atomic::{AtomicBool, AtomicPtr, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

/// Silence after the tail until the plugin may sleep, s: the longest time constant of the table. Gains settle in it, so
/// a plugin that wakes up sounds like one that never slept.
pub const SETTLING_S: f64 = 10.0;

/// Plugin object that the host holds.
///
/// The functions of `plugin` are the framework's, except for those set in [`create`]. The framework finds its own
/// object by `plugin_data`, which both share.
#[repr(C)]
struct HostedPlugin {
    plugin: clap_plugin,
    framework: *const clap_plugin,
    framework_params: *const clap_plugin_params,
    params: clap_plugin_params,
    framework_state: *const clap_plugin_state,
    state: clap_plugin_state,
    tail: clap_plugin_tail,
    host: *const clap_host,
    host_tail: AtomicPtr<clap_host_tail>,
    instance: Instance,
    /// Indices of the parameters that are choices.
    choices: BTreeSet<usize>,
    active: AtomicBool,
    /// Frames of silence after the tail until the plugin may sleep.
    settling: AtomicU64,
    /// Frames since the last sound at the input or the output.
    silent_frames: AtomicU64,
    /// Tail that the host knows.
    told_tail: AtomicU32,
}

#[allow(unsafe_code)]
impl HostedPlugin {
    /// # Safety
    /// `plugin` is null or a plugin of [`create`].
    unsafe fn of<'a>(plugin: *const clap_plugin) -> Option<&'a Self> {
        // SAFETY: the plugin of `create` is the first field of this structure.
        unsafe { plugin.cast::<Self>().as_ref() }
    }

    fn framework(&self) -> &clap_plugin {
        // SAFETY: the framework's object lives until `destroy`.
        unsafe { &*self.framework }
    }

    /// Tells the host a new tail.
    fn tell_tail(&self) {
        let tail = self.instance.activation.tail();
        if self.told_tail.swap(tail, Ordering::Relaxed) != tail {
            // SAFETY: the host's extension lives as long as the plugin.
            unsafe {
                if let Some(changed) = self.host_tail.load(Ordering::Relaxed).as_ref().and_then(|tail| tail.changed) {
                    changed(self.host);
                }
            }
        }
    }

    /// Whether the plugin may sleep, after `frames` more frames that were silent or not.
    fn may_sleep(&self, silent: bool, frames: u32) -> bool {
        let before = self.silent_frames.load(Ordering::Relaxed);
        let now = if silent { before.saturating_add(frames.into()) } else { 0 };
        self.silent_frames.store(now, Ordering::Relaxed);
        let tail = u64::from(self.instance.activation.tail());
        // A measurement counts the pauses too.
        now >= tail.saturating_add(self.settling.load(Ordering::Relaxed)) && !self.instance.is_measuring()
    }
}

/// Extension of a framework's plugin.
#[allow(unsafe_code)]
unsafe fn extension<T>(plugin: *const clap_plugin, id: &CStr) -> *const T {
    // SAFETY: the caller guarantees a plugin of the framework.
    unsafe { (*plugin).get_extension.map_or(ptr::null(), |get| get(plugin, id.as_ptr()).cast()) }
}

#[allow(unsafe_code)]
unsafe extern "C" fn init(plugin: *const clap_plugin) -> bool {
    // SAFETY: the host passes its plugin.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return false };
        if let Some(get) = hosted.host.as_ref().and_then(|host| host.get_extension) {
            let tail = get(hosted.host, CLAP_EXT_TAIL.as_ptr());
            hosted.host_tail.store(tail.cast_mut().cast(), Ordering::Relaxed);
        }
        hosted.framework().init.is_some_and(|init| init(plugin))
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn destroy(plugin: *const clap_plugin) {
    // SAFETY: the host passes its plugin and no longer uses it; `create` made both objects.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return };
        if let Some(destroy) = hosted.framework().destroy {
            destroy(hosted.framework);
        }
        drop(Box::from_raw(plugin.cast_mut().cast::<HostedPlugin>()));
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn activate(plugin: *const clap_plugin, rate_hz: f64, min_frames: u32, max_frames: u32) -> bool {
    // SAFETY: the host passes its plugin.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return false };
        let active =
            hosted.framework().activate.is_some_and(|activate| activate(plugin, rate_hz, min_frames, max_frames));
        hosted.settling.store((SETTLING_S * rate_hz) as u64, Ordering::Relaxed);
        hosted.silent_frames.store(0, Ordering::Relaxed);
        hosted.told_tail.store(hosted.instance.activation.tail(), Ordering::Relaxed);
        hosted.active.store(active, Ordering::Release);
        active
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn deactivate(plugin: *const clap_plugin) {
    // SAFETY: the host passes its plugin.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return };
        hosted.active.store(false, Ordering::Release);
        if let Some(deactivate) = hosted.framework().deactivate {
            deactivate(plugin);
        }
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn process(plugin: *const clap_plugin, process: *const clap_process) -> clap_process_status {
    // SAFETY: the host passes its plugin and a call whose pointers are valid until this function returns.
    unsafe {
        let (Some(hosted), Some(call)) = (HostedPlugin::of(plugin), process.as_ref()) else {
            return CLAP_PROCESS_ERROR;
        };
        let Some(process) = hosted.framework().process.filter(|_| hosted.active.load(Ordering::Acquire)) else {
            return CLAP_PROCESS_ERROR;
        };
        let frames = call.frames_count as usize;
        // Before the call, which may write to the same buffers.
        let input_is_silent = call.audio_inputs_count == 0
            || call.audio_inputs.as_ref().is_none_or(|input| {
                silent_channels(input.data32, input.channel_count, frames).count_ones() == input.channel_count
            });
        let events = BoundedEvents::new(call.in_events, call.frames_count);
        let list = events.list();
        let in_events = if call.in_events.is_null() { ptr::null() } else { &raw const list };
        let status = process(plugin, &clap_process { in_events, ..*call });
        if status == CLAP_PROCESS_ERROR {
            return status;
        }
        let mut output_is_silent = true;
        if call.audio_outputs_count > 0
            && let Some(output) = call.audio_outputs.as_mut()
        {
            output.constant_mask = silent_channels(output.data32, output.channel_count, frames);
            output_is_silent = output.constant_mask.count_ones() == output.channel_count;
        }
        hosted.tell_tail();
        // An empty block is no time.
        let silent = frames == 0 || input_is_silent && output_is_silent;
        let sleeps = hosted.may_sleep(silent, call.frames_count);
        if sleeps { CLAP_PROCESS_SLEEP } else { CLAP_PROCESS_CONTINUE }
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn get_extension(plugin: *const clap_plugin, id: *const c_char) -> *const c_void {
    // SAFETY: the host passes its plugin and a string.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return ptr::null() };
        if id.is_null() {
            return ptr::null();
        }
        match CStr::from_ptr(id) {
            name if name == CLAP_EXT_PARAMS => (&raw const hosted.params).cast(),
            name if name == CLAP_EXT_STATE => (&raw const hosted.state).cast(),
            name if name == CLAP_EXT_TAIL => (&raw const hosted.tail).cast(),
            _ => hosted.framework().get_extension.map_or(ptr::null(), |get| get(plugin, id)),
        }
    }
}

/// Describes a parameter; a choice also as an enumeration.
#[allow(unsafe_code)]
unsafe extern "C" fn get_info(plugin: *const clap_plugin, index: u32, info: *mut clap_param_info) -> bool {
    // SAFETY: the host passes its plugin and room for the description.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return false };
        let params = &*hosted.framework_params;
        if params.count.is_none_or(|count| index >= count(plugin)) {
            return false;
        }
        let found = params.get_info.is_some_and(|get_info| get_info(plugin, index, info));
        if found && hosted.choices.contains(&(index as usize)) {
            (*info).flags |= CLAP_PARAM_IS_STEPPED | CLAP_PARAM_IS_ENUM;
        }
        found
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn load(plugin: *const clap_plugin, stream: *const clap_istream) -> bool {
    // SAFETY: the host passes its plugin and its stream.
    unsafe {
        let Some(hosted) = HostedPlugin::of(plugin) else { return false };
        let loaded = (*hosted.framework_state).load.is_some_and(|load| load(plugin, stream));
        state_accepted(&hosted.instance, loaded)
    }
}

#[allow(unsafe_code)]
unsafe extern "C" fn tail(plugin: *const clap_plugin) -> u32 {
    // SAFETY: the host passes its plugin.
    unsafe { HostedPlugin::of(plugin).map_or(0, |hosted| hosted.instance.activation.tail()) }
}

fn descriptor() -> &'static PluginDescriptor {
    static DESCRIPTOR: OnceLock<PluginDescriptor> = OnceLock::new();
    DESCRIPTOR.get_or_init(PluginDescriptor::for_plugin::<VoicePlugin>)
}

#[allow(unsafe_code)]
unsafe extern "C" fn create(
    _factory: *const clap_plugin_factory,
    host: *const clap_host,
    id: *const c_char,
) -> *const clap_plugin {
    // SAFETY: the host passes a string and its own description. The framework's object is valid until its own
    // `destroy` is called, and has all its extensions from the beginning.
    unsafe {
        if host.is_null() || id.is_null() || CStr::from_ptr(id) != descriptor().clap_id() {
            return ptr::null();
        }
        let instance = Instance::default();
        let wrapper = VoicePlugin::with_instance(&instance, || Wrapper::<VoicePlugin>::new(host));
        let framework: *const clap_plugin = (*Arc::into_raw(wrapper)).clap_plugin.as_ptr();
        let framework_params: *const clap_plugin_params = extension(framework, CLAP_EXT_PARAMS);
        let framework_state: *const clap_plugin_state = extension(framework, CLAP_EXT_STATE);
        let hosted = Box::into_raw(Box::new(HostedPlugin {
            plugin: clap_plugin {
                desc: descriptor().clap_plugin_descriptor(),
                init: Some(init),
                destroy: Some(destroy),
                activate: Some(activate),
                deactivate: Some(deactivate),
                process: Some(process),
                get_extension: Some(get_extension),
                ..*framework
            },
            framework,
            framework_params,
            params: clap_plugin_params { get_info: Some(get_info), ..*framework_params },
            framework_state,
            state: clap_plugin_state { load: Some(load), ..*framework_state },
            tail: clap_plugin_tail { get: Some(tail) },
            host,
            host_tail: AtomicPtr::default(),
            choices: choices(&instance),
            instance,
            active: AtomicBool::new(false),
            settling: AtomicU64::new(0),
            silent_frames: AtomicU64::new(0),
            told_tail: AtomicU32::new(0),
        }));
        &raw const (*hosted).plugin
    }
}

extern "C" fn count(_factory: *const clap_plugin_factory) -> u32 {
    1
}

extern "C" fn describe(_factory: *const clap_plugin_factory, index: u32) -> *const clap_plugin_descriptor {
    if index == 0 { descriptor().clap_plugin_descriptor() } else { ptr::null() }
}

static FACTORY: clap_plugin_factory = clap_plugin_factory {
    get_plugin_count: Some(count),
    get_plugin_descriptor: Some(describe),
    create_plugin: Some(create),
};

extern "C" fn enter(_path: *const c_char) -> bool {
    setup_logger::<VoicePlugin>();
    true
}

extern "C" fn leave() {}

#[allow(unsafe_code)]
unsafe extern "C" fn factory(id: *const c_char) -> *const c_void {
    // SAFETY: the host passes a string.
    let known = !id.is_null() && unsafe { CStr::from_ptr(id) } == CLAP_PLUGIN_FACTORY_ID;
    if known { (&raw const FACTORY).cast() } else { ptr::null() }
}

/// Entry point of the format.
#[allow(non_upper_case_globals, unsafe_code)]
#[unsafe(no_mangle)]
#[used]
pub static clap_entry: clap_plugin_entry = clap_plugin_entry {
    clap_version: CLAP_VERSION,
    init: Some(enter),
    deinit: Some(leave),
    get_factory: Some(factory),
};

#[cfg(test)]
mod tests {
    use super::SETTLING_S;
    use voicechain_core::settings::rows;
    use voicechain_core::units::Unit;

    #[test]
    fn gains_settle_at_least_as_long_as_the_longest_time_constant() {
        for info in rows().filter(|info| info.unit == Unit::Millisecond) {
            assert!(info.max * 1e-3 <= SETTLING_S, "{}", info.id);
        }
    }
}
