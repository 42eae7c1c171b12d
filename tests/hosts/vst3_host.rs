//! VST3 host for tests: raw calls of the built plugin, without what a host does for the user.

use crate::plugin_file;
use libloading::{Library, Symbol};
use std::cell::RefCell;
use std::ffi::c_void;
use std::ptr;
use std::rc::Rc;
use vst3::Steinberg::Vst::ProcessModes_::kRealtime;
use vst3::Steinberg::Vst::SymbolicSampleSizes_::kSample32;
use vst3::Steinberg::Vst::{
    AudioBusBuffers, AudioBusBuffers__type0, IAudioProcessor, IAudioProcessorTrait, IComponent, IComponentTrait,
    IEditController, IEditControllerTrait, IParamValueQueue, IParamValueQueueTrait, IParameterChanges,
    IParameterChangesTrait, ParamID, ParamValue, ParameterInfo, ProcessData, ProcessSetup, SpeakerArr,
};
use vst3::Steinberg::{
    IBStream, IBStream_::IStreamSeekMode_, IBStreamTrait, IPluginBaseTrait, IPluginFactory, IPluginFactory2,
    IPluginFactory2Trait, IPluginFactoryTrait, PClassInfo, PClassInfo2, int32, int64, kInvalidArgument, kResultFalse,
    kResultOk, tresult,
};
use vst3::{Class, ComPtr, ComWrapper, Interface};

/// Stream in memory.
struct Stream {
    bytes: RefCell<Vec<u8>>,
    at: RefCell<usize>,
}

impl Stream {
    fn of(bytes: &[u8]) -> ComWrapper<Self> {
        ComWrapper::new(Self { bytes: RefCell::new(bytes.to_vec()), at: RefCell::new(0) })
    }
}

impl Class for Stream {
    type Interfaces = (IBStream,);
}

#[allow(unsafe_code)]
impl IBStreamTrait for Stream {
    unsafe fn read(&self, to: *mut c_void, count: int32, read: *mut int32) -> tresult {
        let (bytes, mut at) = (self.bytes.borrow(), self.at.borrow_mut());
        let count = (bytes.len() - *at).min(count.max(0) as usize);
        // SAFETY: the plugin passes room for `count` bytes.
        unsafe {
            ptr::copy_nonoverlapping(bytes[*at..].as_ptr(), to.cast(), count);
            if let Some(read) = read.as_mut() {
                *read = count as i32;
            }
        }
        *at += count;
        kResultOk
    }

    unsafe fn write(&self, from: *mut c_void, count: int32, written: *mut int32) -> tresult {
        // SAFETY: the plugin passes `count` bytes.
        unsafe {
            self.bytes.borrow_mut().extend(std::slice::from_raw_parts(from.cast::<u8>(), count as usize));
            if let Some(written) = written.as_mut() {
                *written = count;
            }
        }
        kResultOk
    }

    unsafe fn seek(&self, offset: int64, mode: int32, result: *mut int64) -> tresult {
        let length = self.bytes.borrow().len() as i64;
        let from = match mode as u32 {
            IStreamSeekMode_::kIBSeekSet => 0,
            IStreamSeekMode_::kIBSeekCur => *self.at.borrow() as i64,
            _ => length,
        };
        let at = (from + offset).clamp(0, length);
        *self.at.borrow_mut() = at as usize;
        // SAFETY: the plugin passes a place or null.
        if let Some(result) = unsafe { result.as_mut() } {
            *result = at;
        }
        kResultOk
    }

    unsafe fn tell(&self, at: *mut int64) -> tresult {
        // SAFETY: the plugin passes a place.
        unsafe { *at = *self.at.borrow() as i64 };
        kResultOk
    }
}

/// Parameter change in a block.
#[derive(Clone, Copy, Debug)]
pub struct Change {
    /// Frame, which may be outside the block.
    pub at: i32,
    /// Parameter.
    pub id: u32,
    /// Normalised value.
    pub value: f64,
}

impl Class for Change {
    type Interfaces = (IParamValueQueue,);
}

#[allow(unsafe_code)]
impl IParamValueQueueTrait for Change {
    unsafe fn getParameterId(&self) -> ParamID {
        self.id
    }
    unsafe fn getPointCount(&self) -> int32 {
        1
    }
    unsafe fn getPoint(&self, _index: int32, at: *mut int32, value: *mut ParamValue) -> tresult {
        // SAFETY: the plugin passes places.
        unsafe { (*at, *value) = (self.at, self.value) };
        kResultOk
    }
    unsafe fn addPoint(&self, _at: int32, _value: ParamValue, _index: *mut int32) -> tresult {
        kResultFalse
    }
}

/// Parameter changes of a block.
struct Changes(Vec<ComPtr<IParamValueQueue>>);

impl Class for Changes {
    type Interfaces = (IParameterChanges,);
}

#[allow(unsafe_code)]
impl IParameterChangesTrait for Changes {
    unsafe fn getParameterCount(&self) -> int32 {
        self.0.len() as i32
    }
    unsafe fn getParameterData(&self, index: int32) -> *mut IParamValueQueue {
        self.0.get(index as usize).map_or(ptr::null_mut(), ComPtr::as_ptr)
    }
    unsafe fn addParameterData(&self, _id: *const ParamID, _index: *mut int32) -> *mut IParamValueQueue {
        ptr::null_mut()
    }
}

/// The library and its factory.
#[derive(Clone)]
pub struct Vst3Factory {
    factory: Rc<ComPtr<IPluginFactory>>,
    /// Unloaded after the factory.
    _library: Rc<Library>,
}

#[allow(unsafe_code)]
impl Vst3Factory {
    /// Loads the plugin that cargo built for this test.
    ///
    /// # Panics
    /// If it does not load.
    #[must_use]
    pub fn load() -> Self {
        // SAFETY: the file is the plugin that this workspace builds; the calls are those of the format.
        unsafe {
            let library = Library::new(plugin_file()).expect("the plugin loads");
            let enter: Symbol<'_, unsafe extern "C" fn(*mut c_void) -> bool> =
                library.get(b"ModuleEntry").expect("an entry");
            assert!(enter(ptr::null_mut()));
            let get: Symbol<'_, unsafe extern "system" fn() -> *mut IPluginFactory> =
                library.get(b"GetPluginFactory").expect("a factory");
            let factory = ComPtr::from_raw(get()).expect("a factory");
            Self { factory: Rc::new(factory), _library: Rc::new(library) }
        }
    }

    /// Descriptions of the only class, by the first and the second version of the format's factory.
    ///
    /// # Panics
    /// If there is not exactly one class.
    #[must_use]
    pub fn class(&self) -> (PClassInfo, PClassInfo2) {
        // SAFETY: the descriptions are plain data that the plugin fills.
        unsafe {
            assert_eq!(self.factory.countClasses(), 1);
            let second: ComPtr<IPluginFactory2> = self.factory.cast().expect("the second version");
            let (mut class, mut class_2): (PClassInfo, PClassInfo2) = (std::mem::zeroed(), std::mem::zeroed());
            assert_eq!(self.factory.getClassInfo(0, &raw mut class), kResultOk);
            assert_eq!(second.getClassInfo2(0, &raw mut class_2), kResultOk);
            for index in [-1, 1, i32::MAX] {
                assert_eq!(self.factory.getClassInfo(index, &raw mut class), kInvalidArgument);
            }
            (class, class_2)
        }
    }
}

/// Instance of the plugin.
pub struct Vst3Plugin {
    component: ComPtr<IComponent>,
    processor: ComPtr<IAudioProcessor>,
    controller: ComPtr<IEditController>,
    _factory: Vst3Factory,
}

#[allow(unsafe_code)]
impl Vst3Plugin {
    /// Instance with one or two channels.
    ///
    /// # Panics
    /// If the plugin violates its format.
    #[must_use]
    pub fn new(channels: usize) -> Self {
        let factory = Vst3Factory::load();
        let class = factory.class().0.cid;
        // SAFETY: the calls are those of the format.
        unsafe {
            let mut object: *mut c_void = ptr::null_mut();
            let id = IComponent::IID;
            let created = factory.factory.createInstance(class.as_ptr(), id.as_ptr().cast(), &raw mut object);
            assert_eq!(created, kResultOk);
            let component: ComPtr<IComponent> = ComPtr::from_raw(object.cast()).expect("an instance");
            assert_eq!(component.initialize(ptr::null_mut()), kResultOk);
            let processor: ComPtr<IAudioProcessor> = component.cast().expect("a processor");
            let controller: ComPtr<IEditController> = component.cast().expect("a controller");
            let mut layout = if channels == 1 { SpeakerArr::kMono } else { SpeakerArr::kStereo };
            let mut same = layout;
            assert_eq!(processor.setBusArrangements(&raw mut layout, 1, &raw mut same, 1), kResultOk);
            Self { component, processor, controller, _factory: factory }
        }
    }

    /// Sets up sample rate and maximum block size; returns false if the plugin refuses.
    #[must_use]
    pub fn set_up(&self, rate_hz: f64, max_frames: i32) -> bool {
        let mut setup = ProcessSetup {
            processMode: kRealtime as i32,
            symbolicSampleSize: kSample32 as i32,
            maxSamplesPerBlock: max_frames,
            sampleRate: rate_hz,
        };
        // SAFETY: the call is that of the format.
        unsafe { self.processor.setupProcessing(&raw mut setup) == kResultOk }
    }

    /// Activates or deactivates; returns false if the plugin refuses.
    #[must_use]
    pub fn set_active(&self, on: bool) -> bool {
        // SAFETY: the call is that of the format.
        unsafe { self.component.setActive(on.into()) == kResultOk }
    }

    /// Starts or stops processing.
    pub fn set_processing(&self, on: bool) {
        // SAFETY: the call is that of the format.
        unsafe { self.processor.setProcessing(on.into()) };
    }

    /// Sets up, activates and starts processing.
    ///
    /// # Panics
    /// If the plugin refuses.
    pub fn start(&self, rate_hz: f64, max_frames: i32) {
        assert!(self.set_up(rate_hz, max_frames), "{rate_hz} Hz");
        assert!(self.set_active(true), "{rate_hz} Hz");
        self.set_processing(true);
    }

    /// Stops processing and deactivates.
    ///
    /// # Panics
    /// If the plugin refuses.
    pub fn stop(&self) {
        self.set_processing(false);
        assert!(self.set_active(false));
    }

    /// Processes a block in place; returns the silence flags of the output, or `None` if the plugin refuses.
    pub fn process(&self, signal: &mut [Vec<f32>], changes: &[Change]) -> Option<u64> {
        let frames = signal.first().map_or(0, Vec::len);
        let mut input: Vec<Vec<f32>> = signal.to_vec();
        let mut into: Vec<*mut f32> = input.iter_mut().map(|channel| channel.as_mut_ptr()).collect();
        let mut out: Vec<*mut f32> = signal.iter_mut().map(|channel| channel.as_mut_ptr()).collect();
        let bus = |pointers: &mut Vec<*mut f32>| AudioBusBuffers {
            numChannels: pointers.len() as i32,
            silenceFlags: 0,
            __field0: AudioBusBuffers__type0 { channelBuffers32: pointers.as_mut_ptr() },
        };
        let (mut inputs, mut outputs) = (bus(&mut into), bus(&mut out));
        let queue = |change: &Change| ComWrapper::new(*change).to_com_ptr().expect("a queue");
        let changes = ComWrapper::new(Changes(changes.iter().map(queue).collect()));
        let changes = changes.to_com_ptr::<IParameterChanges>().expect("changes");
        let mut data = ProcessData {
            processMode: kRealtime as i32,
            symbolicSampleSize: kSample32 as i32,
            numSamples: frames as i32,
            numInputs: 1,
            numOutputs: 1,
            inputs: &raw mut inputs,
            outputs: &raw mut outputs,
            inputParameterChanges: changes.as_ptr(),
            outputParameterChanges: ptr::null_mut(),
            inputEvents: ptr::null_mut(),
            outputEvents: ptr::null_mut(),
            processContext: ptr::null_mut(),
        };
        // SAFETY: all pointers of the call are valid until it returns.
        (unsafe { self.processor.process(&raw mut data) } == kResultOk).then_some(outputs.silenceFlags)
    }

    /// Latency, frames.
    #[must_use]
    pub fn latency(&self) -> u32 {
        // SAFETY: the call is that of the format.
        unsafe { self.processor.getLatencySamples() }
    }

    /// Tail, frames.
    #[must_use]
    pub fn tail(&self) -> u32 {
        // SAFETY: the call is that of the format.
        unsafe { self.processor.getTailSamples() }
    }

    /// Number of parameters.
    #[must_use]
    pub fn parameter_count(&self) -> i32 {
        // SAFETY: the call is that of the format.
        unsafe { self.controller.getParameterCount() }
    }

    /// Description of a parameter; `None` if the plugin refuses.
    #[must_use]
    pub fn parameter(&self, index: i32) -> Option<ParameterInfo> {
        // SAFETY: the description is plain data that the plugin fills.
        unsafe {
            let mut info: ParameterInfo = std::mem::zeroed();
            (self.controller.getParameterInfo(index, &raw mut info) == kResultOk).then_some(info)
        }
    }

    /// Normalised value of a parameter.
    #[must_use]
    pub fn value(&self, id: u32) -> f64 {
        // SAFETY: the call is that of the format.
        unsafe { self.controller.getParamNormalized(id) }
    }

    /// Sets the normalised value of a parameter.
    pub fn set_value(&self, id: u32, value: f64) {
        // SAFETY: the call is that of the format.
        unsafe { self.controller.setParamNormalized(id, value) };
    }

    /// Saved state.
    ///
    /// # Panics
    /// If the plugin does not save.
    #[must_use]
    pub fn save(&self) -> Vec<u8> {
        let stream = Stream::of(&[]);
        let pointer = stream.to_com_ptr::<IBStream>().expect("a stream");
        // SAFETY: the call is that of the format.
        assert_eq!(unsafe { self.component.getState(pointer.as_ptr()) }, kResultOk);
        stream.bytes.borrow().clone()
    }

    /// Loads a state; returns false if the plugin refuses it.
    ///
    /// # Panics
    /// Never: the stream has its interface.
    #[must_use]
    pub fn load(&self, state: &[u8]) -> bool {
        let pointer = Stream::of(state).to_com_ptr::<IBStream>().expect("a stream");
        // SAFETY: the call is that of the format.
        unsafe { self.component.setState(pointer.as_ptr()) == kResultOk }
    }
}

#[allow(unsafe_code)]
impl Drop for Vst3Plugin {
    fn drop(&mut self) {
        // SAFETY: the call is that of the format.
        unsafe { self.component.terminate() };
    }
}
