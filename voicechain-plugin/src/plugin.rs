//! Plugin interface to the host: ports, activation, processing, remote controls.

use crate::instance::Instance;
use crate::meters::ReadingSender;
use crate::parameter::Parameter;
use crate::pass_through::pass_through;
use crate::processor::Processor;
use crate::sample_ring::SampleSender;
use crate::state;
use crate::window::Window;
use nice_plug::plugin::PluginState;
use nice_plug::prelude::*;
use std::cell::RefCell;
use std::sync::Arc;
use voicechain_core::SampleRate;
use voicechain_core::settings::SectionId;

/// What an active plugin does with the sound.
enum Active {
    /// Processes it; with the senders to the editor.
    Strip(Processor, SampleSender, ReadingSender),
    /// Passes it through, because the strip cannot run at this sample rate.
    PassThrough,
}

/// The voice strip as a plugin.
pub struct VoicePlugin {
    instance: Instance,
    active: Option<Active>,
}

thread_local! {
    /// Instance for the plugin that is created next on this thread.
    static NEXT_INSTANCE: RefCell<Option<Instance>> = const { RefCell::new(None) };
}

impl Default for VoicePlugin {
    fn default() -> Self {
        Self { instance: NEXT_INSTANCE.take().unwrap_or_default(), active: None }
    }
}

impl VoicePlugin {
    /// Calls `create`, in which the framework creates one plugin, and gives this plugin an instance that the caller
    /// shares.
    pub(crate) fn with_instance<T>(instance: &Instance, create: impl FnOnce() -> T) -> T {
        NEXT_INSTANCE.set(Some(instance.clone()));
        create()
    }

    fn begin(&mut self, rate_hz: f64, tail: u32, active: Active) {
        self.instance.activation.begin(rate_hz, tail);
        self.active = Some(active);
        self.instance.meters.redraw().request();
    }

    /// Shared state of this instance, as its editor uses it.
    #[must_use]
    pub fn instance(&self) -> Instance {
        self.instance.clone()
    }
}

/// Port layout with the same number of channels at input and output.
const fn layout(channels: u32, name: &'static str) -> AudioIOLayout {
    AudioIOLayout {
        main_input_channels: NonZeroU32::new(channels),
        main_output_channels: NonZeroU32::new(channels),
        names: PortNames { layout: Some(name), ..PortNames::const_default() },
        ..AudioIOLayout::const_default()
    }
}

impl Plugin for VoicePlugin {
    const NAME: &'static str = "voicechain";
    const VENDOR: &'static str = "voicechain";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[layout(2, "Stereo"), layout(1, "Mono")];
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    type Editor = Window;
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        Arc::clone(&self.instance.parameters) as Arc<dyn Params>
    }

    fn editor(&mut self, _async_executor: AsyncExecutor<Self>) -> Option<Self::Editor> {
        Some(Window::new(self.instance.clone()))
    }

    fn filter_state(state: &mut PluginState) {
        state::filter(state);
    }

    fn activate(
        &mut self,
        audio_io_layout: &AudioIOLayout,
        buffer_config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        self.deactivate();
        let rate_hz = f64::from(buffer_config.sample_rate);
        if !(rate_hz > 0.0 && rate_hz.is_finite()) {
            return false;
        }
        let Ok(rate) = SampleRate::new(rate_hz) else {
            self.instance.stop_measuring();
            context.set_latency_samples(0);
            self.begin(rate_hz, 0, Active::PassThrough);
            return true;
        };
        let count = audio_io_layout.main_output_channels.map_or(0, NonZeroU32::get);
        // CLAP allows a new latency only during activation; the other formats allow it at any time.
        let latency_is_fixed = context.plugin_api() == PluginApi::Clap;
        let Some(processor) = Processor::new(count, &self.instance.parameters, rate, latency_is_fixed) else {
            return false;
        };
        context.set_latency_samples(processor.latency());
        let tail = processor.tail();
        let samples = self.instance.samples.open(rate_hz, count as usize);
        let readings = self.instance.meters.open(rate_hz);
        self.begin(rate_hz, tail, Active::Strip(processor, samples, readings));
        true
    }

    fn reset(&mut self) {
        if let Some(Active::Strip(processor, ..)) = &mut self.active {
            processor.reset(&self.instance.parameters);
            self.instance.activation.set_tail(processor.tail());
        }
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        match &mut self.active {
            None => return ProcessStatus::Error("not activated"),
            Some(Active::PassThrough) => pass_through(buffer.as_slice()),
            Some(Active::Strip(processor, samples, readings)) => {
                samples.send(buffer.as_slice());
                if processor.process(buffer.as_slice(), &self.instance.parameters) {
                    context.request_restart();
                }
                processor.send_reading(readings, buffer.samples());
                context.set_latency_samples(processor.latency());
                self.instance.activation.set_tail(processor.tail());
            }
        }
        ProcessStatus::Tail(self.instance.activation.tail())
    }

    fn deactivate(&mut self) {
        self.active = None;
        self.instance.activation.end();
        self.instance.meters.redraw().request();
    }
}

impl ClapPlugin for VoicePlugin {
    const CLAP_ID: &'static str = "org.voicechain.strip";
    const CLAP_DESCRIPTION: Option<&'static str> = Some(
        "Trim, hum removal, high-pass, de-reverb, expander, leveller, corrective EQ, de-esser, compressor, tone EQ, \
         limiter and output trim for recorded voices",
    );
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Equalizer,
        ClapFeature::Compressor,
        ClapFeature::Expander,
        ClapFeature::Deesser,
        ClapFeature::Limiter,
        ClapFeature::Restoration,
        ClapFeature::Mixing,
        ClapFeature::Mono,
        ClapFeature::Stereo,
    ];

    /// One section per section of the table; the framework splits pages of more than eight parameters.
    fn remote_controls(&self, context: &mut impl RemoteControlsContext) {
        for &id in SectionId::ALL {
            context.add_section(id.name(), |section| {
                section.add_page(id.name(), |page| {
                    for (_, _, parameter) in self.instance.parameters.table().filter(|(of, ..)| *of == id) {
                        match parameter {
                            Parameter::Position(param) => page.add_param(param),
                            Parameter::Choice(param) => page.add_param(param),
                            Parameter::Switch(param) => page.add_param(param),
                        }
                    }
                });
            });
        }
    }
}

impl Vst3Plugin for VoicePlugin {
    const VST3_CLASS_ID: [u8; 16] = *b"voicechain.strip";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] =
        &[Vst3SubCategory::Fx, Vst3SubCategory::Dynamics, Vst3SubCategory::Eq, Vst3SubCategory::Restoration];
}
