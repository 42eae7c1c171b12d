//! VST3 plugin object in front of the framework's.

use super::silence::silent_channels;
use super::{choices, state_accepted};
use crate::instance::Instance;
use crate::plugin::VoicePlugin;
use nice_plug::wrapper::vst3::Wrapper;
use nice_plug::wrapper::vst3::vst3::Steinberg::Vst::ChannelContext::{IInfoListener, IInfoListenerTrait};
use nice_plug::wrapper::vst3::vst3::Steinberg::Vst::{
    BusDirection, BusInfo, CString, IAttributeList, IAudioProcessor, IAudioProcessorTrait, IComponent,
    IComponentHandler, IComponentTrait, IEditController, IEditControllerTrait, IProcessContextRequirements,
    IProcessContextRequirementsTrait, IUnitInfo, IUnitInfoTrait, IoMode, MediaType, ParamID, ParamValue, ParameterInfo,
    ParameterInfo_::ParameterFlags_, ProcessData, ProcessSetup, ProgramListID, ProgramListInfo, RoutingInfo,
    SpeakerArrangement, String128, TChar, UnitID, UnitInfo,
};
use nice_plug::wrapper::vst3::vst3::Steinberg::{
    FIDString, FUnknown, IBStream, IPlugView, IPluginBaseTrait, TBool, TUID, int16, int32, kInvalidArgument,
    kNotInitialized, kResultFalse, kResultOk, tresult, uint32,
};
use nice_plug::wrapper::vst3::vst3::{Class, ComPtr, ComWrapper};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// Value that the host has set while the plugin processes. The sound follows the block that brings it to the audio
/// thread; until then, the host reads back what it has set.
#[derive(Clone, Copy)]
struct AnnouncedValue {
    /// Value of the parameter before.
    before: ParamValue,
    value: ParamValue,
}

/// Announced value of a parameter; none while the sound follows the host.
struct Announcement {
    /// Steps between the values of a switch or a choice; 0 for a continuous parameter.
    steps: int32,
    value: Option<AnnouncedValue>,
}

/// Plugin object that the host holds. Without MIDI, the framework's interfaces for it are left out.
pub(super) struct HostedPlugin {
    component: ComPtr<IComponent>,
    controller: ComPtr<IEditController>,
    processor: ComPtr<IAudioProcessor>,
    requirements: ComPtr<IProcessContextRequirements>,
    units: ComPtr<IUnitInfo>,
    listener: ComPtr<IInfoListener>,
    instance: Instance,
    /// Indices of the parameters that are choices.
    choices: BTreeSet<usize>,
    /// Whether the host has set up a sample rate that is a positive number.
    set_up: AtomicBool,
    active: AtomicBool,
    processing: AtomicBool,
    /// By parameter. The audio thread does not access it.
    announced: Mutex<BTreeMap<ParamID, Announcement>>,
}

impl Class for HostedPlugin {
    type Interfaces =
        (IComponent, IEditController, IAudioProcessor, IProcessContextRequirements, IUnitInfo, IInfoListener);
}

impl HostedPlugin {
    /// New plugin; `None` if the framework lacks an interface.
    pub(super) fn create() -> Option<ComWrapper<Self>> {
        let instance = Instance::default();
        let framework = VoicePlugin::with_instance(&instance, || ComWrapper::new(Wrapper::<VoicePlugin>::new()));
        let controller: ComPtr<IEditController> = framework.to_com_ptr()?;
        Some(ComWrapper::new(Self {
            component: framework.to_com_ptr()?,
            announced: Mutex::new(no_announcements(&controller)),
            controller,
            processor: framework.to_com_ptr()?,
            requirements: framework.to_com_ptr()?,
            units: framework.to_com_ptr()?,
            listener: framework.to_com_ptr()?,
            choices: choices(&instance),
            instance,
            set_up: AtomicBool::new(false),
            active: AtomicBool::new(false),
            processing: AtomicBool::new(false),
        }))
    }

    fn with_announced<T>(&self, then: impl FnOnce(&mut BTreeMap<ParamID, Announcement>) -> T) -> T {
        then(&mut self.announced.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// All parameters by their ids, with nothing announced.
#[allow(unsafe_code)]
fn no_announcements(controller: &ComPtr<IEditController>) -> BTreeMap<ParamID, Announcement> {
    // SAFETY: the description is plain data that the framework fills.
    unsafe {
        let parameter = |index| {
            let mut info: ParameterInfo = std::mem::zeroed();
            let known = controller.getParameterInfo(index, &raw mut info) == kResultOk;
            known.then_some((info.id, Announcement { steps: info.stepCount, value: None }))
        };
        (0..controller.getParameterCount()).filter_map(parameter).collect()
    }
}

/// Methods that call the same method of a field.
macro_rules! pass_on {
    ($to:ident: $($method:ident($($name:ident: $type:ty),*) -> $result:ty;)*) => {$(
        unsafe fn $method(&self, $($name: $type),*) -> $result {
            // SAFETY: as the caller guarantees.
            unsafe { self.$to.$method($($name),*) }
        }
    )*};
}

#[allow(unsafe_code)]
impl IPluginBaseTrait for HostedPlugin {
    pass_on! { component:
        initialize(context: *mut FUnknown) -> tresult;
        terminate() -> tresult;
    }
}

#[allow(unsafe_code)]
impl IComponentTrait for HostedPlugin {
    pass_on! { component:
        getControllerClassId(class: *mut TUID) -> tresult;
        setIoMode(mode: IoMode) -> tresult;
        getBusCount(media: MediaType, direction: BusDirection) -> int32;
        getBusInfo(media: MediaType, direction: BusDirection, index: int32, bus: *mut BusInfo) -> tresult;
        getRoutingInfo(input: *mut RoutingInfo, output: *mut RoutingInfo) -> tresult;
        activateBus(media: MediaType, direction: BusDirection, index: int32, state: TBool) -> tresult;
        getState(state: *mut IBStream) -> tresult;
    }

    unsafe fn setActive(&self, state: TBool) -> tresult {
        self.active.store(false, Ordering::Release);
        if state != 0 && !self.set_up.load(Ordering::Acquire) {
            return kResultFalse;
        }
        // SAFETY: as the caller guarantees.
        let result = unsafe { self.component.setActive(state) };
        self.active.store(state != 0 && result == kResultOk, Ordering::Release);
        result
    }

    unsafe fn setState(&self, state: *mut IBStream) -> tresult {
        // SAFETY: as the caller guarantees.
        let result = unsafe { self.component.setState(state) };
        self.with_announced(|announced| announced.values_mut().for_each(|announced| announced.value = None));
        if state_accepted(&self.instance, result == kResultOk) { kResultOk } else { kResultFalse }
    }
}

#[allow(unsafe_code)]
impl IEditControllerTrait for HostedPlugin {
    pass_on! { controller:
        setComponentState(state: *mut IBStream) -> tresult;
        setState(state: *mut IBStream) -> tresult;
        getState(state: *mut IBStream) -> tresult;
        getParameterCount() -> int32;
        getParamStringByValue(id: ParamID, value: ParamValue, string: *mut String128) -> tresult;
        getParamValueByString(id: ParamID, string: *mut TChar, value: *mut ParamValue) -> tresult;
        normalizedParamToPlain(id: ParamID, value: ParamValue) -> ParamValue;
        plainParamToNormalized(id: ParamID, value: ParamValue) -> ParamValue;
        setComponentHandler(handler: *mut IComponentHandler) -> tresult;
        createView(name: FIDString) -> *mut IPlugView;
    }

    unsafe fn getParamNormalized(&self, id: ParamID) -> ParamValue {
        // SAFETY: as the caller guarantees.
        let now = unsafe { self.controller.getParamNormalized(id) };
        let announced = self.with_announced(|announced| announced.get(&id).and_then(|announced| announced.value));
        match announced {
            Some(AnnouncedValue { before, value }) if now == before && self.processing.load(Ordering::Acquire) => value,
            _ => now,
        }
    }

    unsafe fn setParamNormalized(&self, id: ParamID, value: ParamValue) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe {
            let before = self.controller.getParamNormalized(id);
            let result = self.controller.setParamNormalized(id, value);
            let plain = self.controller.normalizedParamToPlain(id, value);
            let value = self.controller.plainParamToNormalized(id, plain).clamp(0.0, 1.0);
            let ignored = result == kResultOk && self.processing.load(Ordering::Acquire) && value.is_finite();
            self.with_announced(|announced| {
                if let Some(announced) = announced.get_mut(&id) {
                    let steps = ParamValue::from(announced.steps);
                    let value = if steps > 0.0 { (value * steps).round() / steps } else { value };
                    announced.value = ignored.then_some(AnnouncedValue { before, value });
                }
            });
            result
        }
    }

    unsafe fn getParameterInfo(&self, index: int32, info: *mut ParameterInfo) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe {
            if index < 0 || index >= self.controller.getParameterCount() {
                return kInvalidArgument;
            }
            let result = self.controller.getParameterInfo(index, info);
            if result == kResultOk && self.choices.contains(&(index as usize)) {
                (*info).flags |= ParameterFlags_::kIsList;
            }
            result
        }
    }
}

#[allow(unsafe_code)]
impl IAudioProcessorTrait for HostedPlugin {
    pass_on! { processor:
        setBusArrangements(inputs: *mut SpeakerArrangement, ins: int32, outputs: *mut SpeakerArrangement, outs: int32)
            -> tresult;
        getBusArrangement(direction: BusDirection, index: int32, arrangement: *mut SpeakerArrangement) -> tresult;
        canProcessSampleSize(size: int32) -> tresult;
        getLatencySamples() -> uint32;
    }

    unsafe fn setupProcessing(&self, setup: *mut ProcessSetup) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe {
            // The framework keeps the rate in 32 bits.
            let rate_hz = setup.as_ref().map_or(0.0, |setup| setup.sampleRate as f32);
            let is_rate = rate_hz > 0.0 && rate_hz.is_finite();
            let result = if is_rate { self.processor.setupProcessing(setup) } else { kInvalidArgument };
            self.set_up.store(result == kResultOk, Ordering::Release);
            result
        }
    }

    unsafe fn setProcessing(&self, state: TBool) -> tresult {
        self.processing.store(state != 0, Ordering::Release);
        // SAFETY: as the caller guarantees.
        unsafe { self.processor.setProcessing(state) }
    }

    unsafe fn process(&self, data: *mut ProcessData) -> tresult {
        // SAFETY: as the caller guarantees.
        unsafe {
            let Some(call) = data.as_ref() else { return kInvalidArgument };
            // Without frames, a host passes parameters on; the format allows it for an inactive plugin too.
            let ready = if call.numSamples == 0 { &self.set_up } else { &self.active };
            if !ready.load(Ordering::Acquire) {
                return kNotInitialized;
            }
            let result = self.processor.process(data);
            if call.numOutputs > 0
                && let Some(output) = call.outputs.as_mut()
            {
                let (channels, frames) = (output.__field0.channelBuffers32, call.numSamples.max(0) as usize);
                output.silenceFlags = silent_channels(channels, output.numChannels.max(0) as u32, frames);
            }
            result
        }
    }

    unsafe fn getTailSamples(&self) -> uint32 {
        self.instance.activation.tail()
    }
}

#[allow(unsafe_code)]
impl IProcessContextRequirementsTrait for HostedPlugin {
    pass_on! { requirements:
        getProcessContextRequirements() -> uint32;
    }
}

#[allow(unsafe_code)]
impl IUnitInfoTrait for HostedPlugin {
    pass_on! { units:
        getUnitCount() -> int32;
        getUnitInfo(index: int32, info: *mut UnitInfo) -> tresult;
        getProgramListCount() -> int32;
        getProgramListInfo(index: int32, info: *mut ProgramListInfo) -> tresult;
        getProgramName(list: ProgramListID, index: int32, name: *mut String128) -> tresult;
        getProgramInfo(list: ProgramListID, index: int32, attribute: CString, value: *mut String128) -> tresult;
        hasProgramPitchNames(list: ProgramListID, index: int32) -> tresult;
        getProgramPitchName(list: ProgramListID, index: int32, pitch: int16, name: *mut String128) -> tresult;
        getSelectedUnit() -> UnitID;
        selectUnit(unit: UnitID) -> tresult;
        getUnitByBus(media: MediaType, direction: BusDirection, bus: int32, channel: int32, unit: *mut UnitID)
            -> tresult;
        setUnitProgramData(list: int32, index: int32, data: *mut IBStream) -> tresult;
    }
}

#[allow(unsafe_code)]
impl IInfoListenerTrait for HostedPlugin {
    pass_on! { listener:
        setChannelContextInfos(list: *mut IAttributeList) -> tresult;
    }
}
