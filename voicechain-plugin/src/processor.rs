//! Strip on the audio thread: follows the parameters, processes, and requests a restart when the latency changes.

use crate::meters::ReadingSender;
use crate::parameters::Parameters;
use std::thread;
use voicechain_core::frame::Frame;
use voicechain_core::settings::SectionId;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};

/// Interval of tail recalculation while settings change, ms.
const TAIL_UPDATE_MS: f64 = 10.0;

/// One strip and the parameters that it last followed.
pub struct StripProcessor<const C: usize>
where
    [f32; C]: Frame,
{
    strip: Box<Strip<C>>,
    rate: SampleRate,
    settings: StripSettings,
    seen_changes: u32,
    tail: u32,
    /// Frames since the tail was last calculated; `None` while the tail is up to date.
    stale_tail_frames: Option<u32>,
    /// A change of latency needs a restart by the host, which then activates the plugin again.
    latency_is_fixed: bool,
    restart_requested: bool,
}

impl<const C: usize> StripProcessor<C>
where
    [f32; C]: Frame,
{
    /// Strip with the current parameter values. `None` if the coefficient design fails, which the table's ranges
    /// exclude.
    #[must_use]
    pub fn new(parameters: &Parameters, rate: SampleRate, latency_is_fixed: bool) -> Option<Box<Self>> {
        let (seen_changes, settings) = (parameters.change_count(), parameters.modulated_settings());
        let coefs = StripCoefs::design(&settings, rate).ok()?;
        let (mut strip, tail) = (Box::new(Strip::NEW), coefs.tail());
        strip.set(&coefs);
        let restart_requested = false;
        let mut processor = Box::new(Self {
            strip,
            rate,
            settings,
            seen_changes,
            tail,
            stale_tail_frames: None,
            latency_is_fixed,
            restart_requested,
        });
        processor.strip.set_monitoring(parameters.monitoring());
        processor.strip.set_audition(parameters.audition_band());
        processor.strip.reset();
        Some(processor)
    }

    /// Follows the parameters if they have changed. Returns true when a new latency needs a restart by the host. Until
    /// the restart, all parameters that leave the latency unchanged are followed.
    fn update(&mut self, parameters: &Parameters) -> bool {
        let changes = parameters.change_count();
        if changes == self.seen_changes {
            return false;
        }
        self.seen_changes = changes;
        let mut settings = parameters.modulated_settings();
        let mut restart_needed = false;
        if self.latency_is_fixed && keep_latency(&mut settings, &self.settings) {
            restart_needed = !self.restart_requested;
            self.restart_requested = true;
        } else {
            self.restart_requested = false;
        }
        if settings != self.settings
            && let Ok(coefs) = StripCoefs::design(&settings, self.rate)
        {
            self.strip.set(&coefs);
            self.stale_tail_frames.get_or_insert(0);
            self.settings = settings;
        }
        let monitoring = parameters.monitoring();
        if monitoring != self.strip.monitoring() {
            self.strip.set_monitoring(monitoring);
        }
        let audition_band = parameters.audition_band();
        if audition_band != self.strip.audition() {
            self.strip.set_audition(audition_band);
        }
        restart_needed
    }

    /// Clears all signal state and applies the current parameters without a transition.
    pub fn reset(&mut self, parameters: &Parameters) {
        self.update(parameters);
        self.strip.reset();
        if self.stale_tail_frames.take().is_some() {
            self.tail = self.strip.tail();
        }
    }

    /// Processes one block in place, with the parameter values at its first frame. Returns true when a new latency
    /// needs a restart by the host. Does not allocate.
    pub fn process(&mut self, channels: [&mut [f32]; C], parameters: &Parameters) -> bool {
        let restart_needed = self.update(parameters);
        if let Some(age) = &mut self.stale_tail_frames {
            // The tail costs as much as a coefficient design; automation at every frame must not pay it each time.
            *age = age.saturating_add(channels[0].len() as u32);
            if *age >= self.rate.samples(TAIL_UPDATE_MS) {
                self.tail = self.strip.tail();
                self.stale_tail_frames = None;
            }
        }
        self.strip.run_planar(channels);
        restart_needed
    }

    /// The strip, with its meters and the level ledger.
    #[must_use]
    pub fn strip(&self) -> &Strip<C> {
        &self.strip
    }
}

/// Resets the settings that change the latency to their values in `now`; returns true if any differed. These are the
/// settings that cannot be automated.
fn keep_latency(settings: &mut StripSettings, now: &StripSettings) -> bool {
    let mut kept = false;
    for &section in SectionId::ALL {
        for (row, _) in section.rows().iter().enumerate().filter(|(_, info)| !info.automatable) {
            if let Some(value) = now.value(section, row)
                && settings.value(section, row) != Some(value)
            {
                settings.set_value(section, row, value);
                kept = true;
            }
        }
    }
    kept
}

/// Mono or stereo processor.
pub enum Processor {
    /// One channel.
    Mono(Box<StripProcessor<1>>),
    /// Two channels.
    Stereo(Box<StripProcessor<2>>),
}

impl Processor {
    /// Processor for one or two channels; `None` for any other number. It is built on a thread of its own: in a
    /// debug build a strip passes over the stack, and that of a host's thread may be only half a megabyte.
    #[must_use]
    pub fn new(count: u32, parameters: &Parameters, rate: SampleRate, latency_is_fixed: bool) -> Option<Self> {
        let build = || match count {
            1 => StripProcessor::new(parameters, rate, latency_is_fixed).map(Self::Mono),
            2 => StripProcessor::new(parameters, rate, latency_is_fixed).map(Self::Stereo),
            _ => None,
        };
        thread::scope(|scope| {
            thread::Builder::new().name("voicechain strip".into()).spawn_scoped(scope, build).ok()?.join().ok()?
        })
    }

    /// Latency, samples.
    #[must_use]
    pub fn latency(&self) -> u32 {
        match self {
            Self::Mono(processor) => processor.strip.latency(),
            Self::Stereo(processor) => processor.strip.latency(),
        }
    }

    /// Tail, frames: time until the output has died away after the input has ended.
    #[must_use]
    pub fn tail(&self) -> u32 {
        match self {
            Self::Mono(processor) => processor.tail,
            Self::Stereo(processor) => processor.tail,
        }
    }

    /// As [`StripProcessor::reset`].
    pub fn reset(&mut self, parameters: &Parameters) {
        match self {
            Self::Mono(processor) => processor.reset(parameters),
            Self::Stereo(processor) => processor.reset(parameters),
        }
    }

    /// Sends a meter reading after `frames` more frames, as [`ReadingSender::send`].
    pub fn send_reading(&self, sender: &mut ReadingSender, frames: usize) {
        match self {
            Self::Mono(processor) => sender.send(&processor.strip, frames),
            Self::Stereo(processor) => sender.send(&processor.strip, frames),
        }
    }

    /// As [`StripProcessor::process`], on one slice per channel; further slices are ignored.
    pub fn process(&mut self, slices: &mut [&mut [f32]], parameters: &Parameters) -> bool {
        match (self, slices) {
            (Self::Mono(processor), [only, ..]) => processor.process([only], parameters),
            (Self::Stereo(processor), [left, right, ..]) => processor.process([left, right], parameters),
            _ => false,
        }
    }
}
