//! VST3: entry points and factory.

use super::vst3_object::HostedPlugin;
use crate::plugin::VoicePlugin;
use nice_plug::wrapper::setup_logger;
use nice_plug::wrapper::vst3::PluginInfo;
use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, FUnknown, IPluginFactory, IPluginFactory2, IPluginFactory2Trait, IPluginFactory3, IPluginFactory3Trait,
    IPluginFactoryTrait, PClassInfo, PClassInfo2, PClassInfoW, PFactoryInfo, TUID, int32, kInvalidArgument, kResultOk,
    tresult,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComWrapper};
use std::ffi::c_void;

struct Factory {
    plugin: PluginInfo,
}

impl Class for Factory {
    type Interfaces = (IPluginFactory, IPluginFactory2, IPluginFactory3);
}

/// Writes a description of the only class; refuses another index or a missing place.
#[allow(unsafe_code)]
unsafe fn describe<T>(index: int32, to: *mut T, info: impl FnOnce() -> T) -> tresult {
    if index != 0 || to.is_null() {
        return kInvalidArgument;
    }
    // SAFETY: the host passes room for the description.
    unsafe { to.write(info()) };
    kResultOk
}

#[allow(unsafe_code)]
impl IPluginFactoryTrait for Factory {
    unsafe fn getFactoryInfo(&self, info: *mut PFactoryInfo) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe { describe(0, info, || self.plugin.create_factory_info()) }
    }

    unsafe fn countClasses(&self) -> int32 {
        1
    }

    unsafe fn getClassInfo(&self, index: int32, info: *mut PClassInfo) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe { describe(index, info, || self.plugin.create_class_info()) }
    }

    unsafe fn createInstance(&self, class: FIDString, interface: FIDString, object: *mut *mut c_void) -> tresult {
        // SAFETY: the host passes two identifiers of 16 bytes and room for a pointer.
        unsafe {
            if class.is_null()
                || interface.is_null()
                || object.is_null()
                || *class.cast::<[u8; 16]>() != *self.plugin.cid
            {
                return kInvalidArgument;
            }
            let Some(unknown) = HostedPlugin::create().and_then(|plugin| plugin.to_com_ptr::<FUnknown>()) else {
                return kInvalidArgument;
            };
            let unknown = unknown.as_ptr();
            ((*(*unknown).vtbl).queryInterface)(unknown, interface.cast::<TUID>(), object)
        }
    }
}

#[allow(unsafe_code)]
impl IPluginFactory2Trait for Factory {
    unsafe fn getClassInfo2(&self, index: int32, info: *mut PClassInfo2) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe { describe(index, info, || self.plugin.create_class_info_2()) }
    }
}

#[allow(unsafe_code)]
impl IPluginFactory3Trait for Factory {
    unsafe fn getClassInfoUnicode(&self, index: int32, info: *mut PClassInfoW) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe { describe(index, info, || self.plugin.create_class_info_unicode()) }
    }

    unsafe fn setHostContext(&self, _context: *mut FUnknown) -> tresult {
        kResultOk
    }
}

/// Entry point of the format.
#[allow(non_snake_case, unsafe_code)]
#[unsafe(no_mangle)]
pub extern "system" fn GetPluginFactory() -> *mut c_void {
    let factory = ComWrapper::new(Factory { plugin: PluginInfo::for_plugin::<VoicePlugin>() });
    factory.to_com_ptr::<IPluginFactory>().map_or(std::ptr::null_mut(), |factory| factory.into_raw().cast())
}

/// Exports the two functions that the format calls after loading and before unloading, under the names of a system.
macro_rules! module {
    ($system:meta, $abi:tt, $enter:ident($($handle:ty)?), $leave:ident) => {
        /// Called after loading.
        #[cfg($system)]
        #[allow(non_snake_case, unsafe_code)]
        #[unsafe(no_mangle)]
        pub extern $abi fn $enter($(_handle: $handle)?) -> bool {
            setup_logger::<VoicePlugin>();
            true
        }

        /// Called before unloading.
        #[cfg($system)]
        #[allow(non_snake_case, unsafe_code)]
        #[unsafe(no_mangle)]
        pub extern $abi fn $leave() -> bool {
            true
        }
    };
}

module!(all(target_family = "unix", not(target_os = "macos")), "C", ModuleEntry(*mut c_void), ModuleExit);
module!(target_os = "macos", "C", bundleEntry(*mut c_void), bundleExit);
module!(target_os = "windows", "system", InitDll(), ExitDll);
