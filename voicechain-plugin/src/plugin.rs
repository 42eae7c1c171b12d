//! What hosts ask for.

use crate::channels::Channels;
use crate::parameters::{Knob, Parameters};
use crate::state;
use nice_plug::plugin::PluginState;
use nice_plug::prelude::*;
use std::sync::Arc;
use voicechain_core::SampleRate;
use voicechain_core::settings::StageId;

/// The voice strip as a plugin.
#[derive(Default)]
pub struct VoicePlugin {
    parameters: Arc<Parameters>,
    channels: Option<Channels>,
}

/// A layout with the same number of channels at both ends.
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

    type Editor = ();
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        Arc::clone(&self.parameters) as Arc<dyn Params>
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
        let Ok(rate) = SampleRate::new(f64::from(buffer_config.sample_rate)) else { return false };
        let count = audio_io_layout.main_output_channels.map_or(0, NonZeroU32::get);
        // CLAP allows a new latency only while the plugin is activated; elsewhere it may come at any time.
        let latency_is_fixed = context.plugin_api() == PluginApi::Clap;
        self.channels = Channels::fresh(count, &self.parameters, rate, latency_is_fixed);
        if let Some(channels) = &self.channels {
            context.set_latency_samples(channels.latency());
        }
        self.channels.is_some()
    }

    fn reset(&mut self) {
        if let Some(channels) = &mut self.channels {
            channels.reset(&self.parameters);
        }
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        let Some(channels) = &mut self.channels else { return ProcessStatus::Error("not activated") };
        if channels.process(buffer.as_slice(), &self.parameters) {
            context.request_restart();
        }
        context.set_latency_samples(channels.latency());
        ProcessStatus::Tail(channels.tail())
    }

    fn deactivate(&mut self) {
        self.channels = None;
    }
}

impl ClapPlugin for VoicePlugin {
    const CLAP_ID: &'static str = "org.voicechain.strip";
    const CLAP_DESCRIPTION: Option<&'static str> =
        Some("Trim, high-pass, corrective EQ, de-esser, compressor, tone EQ and limiter for recorded voices");
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Equalizer,
        ClapFeature::Compressor,
        ClapFeature::Deesser,
        ClapFeature::Limiter,
        ClapFeature::Mixing,
        ClapFeature::Mono,
        ClapFeature::Stereo,
    ];

    /// One section per stage; the framework splits pages of more than eight.
    fn remote_controls(&self, context: &mut impl RemoteControlsContext) {
        for &stage in StageId::ALL {
            context.add_section(stage.name(), |section| {
                section.add_page(stage.name(), |page| {
                    for (_, _, knob) in self.parameters.knobs().filter(|(of, ..)| *of == stage) {
                        match knob {
                            Knob::Position(param) => page.add_param(param),
                            Knob::Choice(param) => page.add_param(param),
                            Knob::Switch(param) => page.add_param(param),
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
        &[Vst3SubCategory::Fx, Vst3SubCategory::Dynamics, Vst3SubCategory::Eq];
}
