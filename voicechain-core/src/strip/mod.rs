//! The voice strip: all stages in signal order, with meters, level ledger and three monitor modes.

mod analyse_ahead;
pub mod audition;
mod coefs;
mod latency_change;
mod ledger;
mod meters;
mod monitor;
mod monitoring;
mod signal_path;
mod stage_list;
pub mod starting_points;

pub use crate::stages::SanitisedSamples;
pub use crate::stages::processor::TRANSITION_MS;
pub use analyse_ahead::ANALYSED_AHEAD_S;
pub use audition::{Audition, AuditionBand};
pub use coefs::StripCoefs;
pub use ledger::{Ledger, LedgerEntry};
pub use meters::METERED_STAGES;
pub use monitoring::{MonitorMode, Monitoring};
pub use starting_points::StartingPoint;

use crate::blank::{Blank, blank};
use crate::frame::{CHUNK, Frame, deinterleave, interleave};
use crate::meters::{GainReductionMeter, SubBlockLoudness, TruePeakMeter};
use crate::settings::StageId;
use crate::stages::input_sanitiser::{InputSanitiser, flush_denormals};
use crate::units::SampleRate;
use latency_change::LatencyChange;
use meters::StripMeters;
use monitor::Monitor;
use signal_path::SignalPath;

/// A complete voice strip for one (`C = 1`) or two (`C = 2`) channels.
///
/// Design coefficients with [`StripCoefs::design`], [`set`](Self::set) them on a [`NEW`](Self::NEW) strip, then pass each
/// block of audio to [`run`](Self::run).
///
/// ```
/// use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
///
/// let rate = SampleRate::new(48_000.0)?;
/// let mut settings = StripSettings::default();
/// let mut strip = Box::new(Strip::<1>::NEW);
/// strip.set(&StripCoefs::design(&settings, rate)?); // applies at once
/// strip.run(&mut [[0.1]; 480]);
/// settings.compressor.ratio = 4.0;
/// strip.set(&StripCoefs::design(&settings, rate)?); // glides for 10 ms
/// strip.run(&mut [[0.1]; 1_000]); // any block size
/// # Ok::<(), voicechain_core::SettingError>(())
/// ```
///
/// # Signal order
///
/// Trim, hum, high-pass, de-reverb, expander and leveller run first. Corrective EQ, de-esser, compressor and tone EQ
/// follow in a configurable order. Limiter and output trim run last. See
/// [`signal_order`](crate::settings::signal_order).
///
/// Restoration precedes shaping. The first stages measure hum, reverberation, background noise and level drift on the
/// unshaped recording. The compressor then works on phrases of similar level.
///
/// # Guarantees
///
/// - **Block size**: the output does not depend on it. Any split of the same frames into calls returns the same bits.
/// - **Real time**: processing does not allocate, lock or wait. No panic is known.
/// - **Input**: any input gives finite output. Non-finite samples become silence, and samples beyond +36 dBFS are
///   clamped; [`sanitised_samples`](Self::sanitised_samples) counts each kind.
/// - **Latency**: [`latency`](Self::latency) is exact.
/// - **Tail**: [`tail`](Self::tail) is never shorter than the true tail and at most twice as long.
///
/// Tested in tests/properties by `output_and_meters_are_independent_of_block_size`, `latency_is_exact`,
/// `stated_tail_bounds_the_impulse_response`, `strip_recovers_from_any_input_within_one_second`,
/// `idle_strip_returns_its_input_delayed` and others.
pub struct Strip<const C: usize>
where
    [f32; C]: Frame,
{
    /// Target coefficients: reached, or the end of a transition.
    target: StripCoefs<C>,
    sanitiser: InputSanitiser,
    path: SignalPath<C>,
    latency_change: LatencyChange,
    monitor: Monitor<C>,
    meters: StripMeters<C>,
}

blank! { [const C: usize] Strip<C> where [f32; C]: Frame { target, sanitiser, path, latency_change, monitor, meters } }

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Blank strip: it passes its input unchanged and measures nothing. The first [`set`](Self::set) applies its
    /// coefficients at once, and the strip is then that of [`new`](Self::new), bit for bit.
    ///
    /// A strip is large: at most 400 KiB in mono, 512 KiB in stereo. Keep it on the heap. The constant is all zeros, so
    /// an optimised build writes it straight there, on a stack of 128 KiB; a debug build needs the size of the strip plus
    /// 96 KiB. Everything else that an audio thread calls works on a stack of 128 KiB, in a debug build 256 KiB:
    /// [`run`](Self::run), [`set`](Self::set) with any sample rate, [`reset`](Self::reset),
    /// [`analyse_ahead`](Self::analyse_ahead) and all readings. Tested by
    /// `a_strip_fits_in_400_kib_mono_and_512_kib_stereo`,
    /// `making_a_strip_or_a_profile_meter_needs_128_kib_of_stack`, `an_audio_thread_needs_128_kib_of_stack`,
    /// `a_strip_made_in_place_equals_a_new_one` and `a_blank_strip_passes_its_input_and_measures_nothing`.
    ///
    /// ```
    /// use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
    ///
    /// let mut strip = Box::new(Strip::<2>::NEW);
    /// strip.set(&StripCoefs::design(&StripSettings::default(), SampleRate::new(48_000.0)?)?);
    /// # Ok::<(), voicechain_core::SettingError>(())
    /// ```
    pub const NEW: Self = Self::BLANK;

    /// Creates a strip with clear state. The coefficients apply at once, without a transition.
    ///
    /// For threads with a stack of 2 MiB: the strip passes over it twice or more often. [`NEW`](Self::NEW) with
    /// [`set`](Self::set) spares it.
    #[must_use]
    pub fn new(coefs: &StripCoefs<C>) -> Self {
        let mut strip = Self::NEW;
        strip.set(coefs);
        strip
    }

    /// True before the first [`set`](Self::set) of a [`NEW`](Self::NEW) strip. No rate is designed so far.
    fn is_blank(&self) -> bool {
        self.target.rate == SampleRate::BLANK
    }

    /// Clears all audio state and ends an override of the leveller's gain. Settings, monitor mode and audition stay.
    /// Transitions in progress complete at once.
    pub fn reset(&mut self) {
        if self.is_blank() {
            return;
        }
        let transition = self.target.rate.samples(TRANSITION_MS);
        self.sanitiser = InputSanitiser::default();
        self.path.restart(&self.target);
        self.latency_change = LatencyChange::new(transition);
        self.monitor.restart(self.target.rate, self.target.latency(), transition);
        self.meters.restart(&self.target);
    }

    /// Resets meters and ledger, and starts the 30 s of the loudness match anew. The processing continues; the match
    /// gains stay until new audio is measured. Tested by `reset_meters_restarts_the_loudness_match`.
    pub fn reset_meters(&mut self) {
        if self.is_blank() {
            return;
        }
        self.meters.reset(&self.target);
        self.monitor.forget_loudness();
    }

    /// Starts a transition to new coefficients at the next frame.
    ///
    /// - **Settings and switches** glide within [`TRANSITION_MS`].
    /// - **A new stage order** cross-fades within [`TRANSITION_MS`].
    /// - **A new look-ahead or spectral latency** changes the latency of the strip. The output fades out and in
    ///   again, each within [`TRANSITION_MS`]. After a change of spectral latency it stays muted between the fades
    ///   for the latency of the limiter.
    /// - **Another sample rate** [resets](Self::reset) the strip: its state is cleared in place.
    pub fn set(&mut self, coefs: &StripCoefs<C>) {
        let other_rate = coefs.rate != self.target.rate;
        self.target = *coefs;
        if other_rate {
            return self.reset();
        }
        if coefs.latency() != self.monitor.latency() {
            // All changes wait until the output is silent.
            if self.latency_change.begin() {
                self.change_latency();
            }
        } else if !self.latency_change.is_fading_out() {
            self.apply();
        }
    }

    /// Passes the target coefficients to every stage. The stages in their previous order fade out with the previous
    /// coefficients.
    fn apply(&mut self) {
        self.reorder();
        self.path.set(&self.target);
    }

    /// Starts the cross-fade to the target order. A cross-fade in progress ends first.
    fn reorder(&mut self) {
        if self.path.reorder(self.target.order) {
            self.meters.restart_loudness(&self.target);
        }
    }

    /// Applies the target latency while the output is silent.
    fn change_latency(&mut self) {
        self.monitor.set_latency(self.target.latency());
        let mute = self.path.change_latency(&self.target);
        self.latency_change.mute_for(mute);
        self.meters.restart_loudness(&self.target);
        self.apply();
    }

    /// Processes any number of frames in place. Cannot fail.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        if self.is_blank() {
            return;
        }
        let mut rest = frames;
        while !rest.is_empty() {
            let max_frames = self.meters.remaining().min(self.latency_change.remaining()).min(self.path.remaining());
            let (now, later) = rest.split_at_mut(rest.len().min(max_frames));
            self.run_segment(now);
            rest = later;
        }
    }

    /// Processes at most one chunk. Fades, cross-fades and sub-blocks end only with the last frame of a segment.
    fn run_segment(&mut self, frames: &mut [[f32; C]]) {
        let Self { target, sanitiser, path, latency_change, monitor, meters } = self;
        sanitiser.sanitise(frames);
        monitor.push_input(frames);
        meters.push_input(frames);
        path.run(frames, |place, frames, changes| {
            if place + 1 == StageId::COUNT {
                flush_denormals(frames);
            }
            meters.push_stage_output(place, frames, changes);
        });
        let end = meters.end_segment(frames);
        if let Some(block) = end.block {
            monitor.gating_block(block);
        }
        monitor.mix(frames);
        if let Some(energies) = end.sub_block {
            let speech = meters.end_sub_block(energies, |stage| path.take_reduction_db(stage));
            monitor.step(speech, target.ceiling_dbtp, || meters.take_input_true_peak());
        }
        let latency_changes = latency_change.run(frames);
        // Both calls may restart the ledger, so they follow the metering of these frames.
        if path.end_order_change() {
            self.reorder();
        }
        if latency_changes {
            self.change_latency();
        }
    }

    /// Processes planar channels in place. The shortest channel sets the number of frames.
    pub fn run_planar(&mut self, channels: [&mut [f32]; C]) {
        let mut channels = channels;
        let length = channels.iter().map(|c| c.len()).min().unwrap_or(0);
        let mut frames = [[0.0; C]; CHUNK];
        for at in (0..length).step_by(CHUNK) {
            let n = CHUNK.min(length - at);
            interleave(channels.each_ref().map(|channel| &channel[at..at + n]), &mut frames[..n]);
            self.run(&mut frames[..n]);
            deinterleave(&frames[..n], channels.each_mut().map(|channel| &mut channel[at..at + n]));
        }
    }

    /// Selects the monitor mode from the next frame on, with a cross-fade of [`TRANSITION_MS`].
    pub fn set_monitoring(&mut self, monitoring: Monitoring) {
        self.monitor.set_monitoring(monitoring);
    }

    /// Auditions one band of the unprocessed signal in place of the current monitor mode, from the next frame on.
    ///
    /// The band changes within [`TRANSITION_MS`]; [`AuditionBand::Full`] ends the audition. With
    /// [`Monitoring::loudness_matched`] the band has the gain of the whole unprocessed signal. Processing continues
    /// inaudibly. Audition does not affect meters, ledger or loudness match.
    pub fn set_audition(&mut self, band: AuditionBand) {
        self.monitor.set_audition(band);
    }

    /// Overrides the leveller's own gain with a gain in dB. `None` or a non-finite gain ends the override.
    ///
    /// Intended for files: [`compute`](crate::stages::leveller::gain_curve::compute) finds all gains in advance. The
    /// leveller takes the gain over at its next 10 ms sub-block and moves to it in a straight line of 10 ms, so it is
    /// reached within 20 ms. Maximum boost and cut still apply, and a leveller that is off stays inactive. A reset,
    /// another sample rate and switching the leveller on clear the override.
    pub fn override_leveller_gain(&mut self, gain_db: Option<f64>) {
        self.path.leveller.state_mut().override_gain(gain_db);
    }
}

/// Current state, meters and latency.
impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Sample rate of the strip; 0 Hz before the first [`set`](Self::set) of a [`NEW`](Self::NEW) strip.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.target.rate
    }

    /// Delay of the output relative to the input, in samples, at the target coefficients.
    #[must_use]
    pub fn latency(&self) -> u32 {
        if self.is_blank() { 0 } else { self.target.latency() }
    }

    /// Bound on the number of samples after which the impulse response stays at least 120 dB below its peak, at the
    /// target coefficients; see [`StripCoefs::tail`].
    #[must_use]
    pub fn tail(&self) -> u32 {
        if self.is_blank() { 0 } else { self.target.tail() }
    }

    /// Delay of the signal at the leveller's input, in samples.
    #[must_use]
    pub fn leveller_delay(&self) -> u32 {
        self.target.latency_before(StageId::Leveller)
    }

    /// Current monitor mode and loudness matching.
    #[must_use]
    pub fn monitoring(&self) -> Monitoring {
        self.monitor.monitoring()
    }

    /// Band of the unprocessed signal on audition; [`AuditionBand::Full`] when audition is off.
    #[must_use]
    pub fn audition(&self) -> AuditionBand {
        self.monitor.audition()
    }

    /// Level ledger since the last reset; `None` until a 400 ms block has passed the gates. A new order or latency
    /// restarts it.
    #[must_use]
    pub fn ledger(&self) -> Option<Ledger> {
        self.meters.loudness().map(|lufs| Ledger::new(self.path.order(), lufs))
    }

    /// Loudness at the input.
    #[must_use]
    pub fn input_loudness(&self) -> &SubBlockLoudness<C> {
        self.meters.input_loudness()
    }

    /// Loudness of the processed signal in every monitor mode.
    #[must_use]
    pub fn output_loudness(&self) -> &SubBlockLoudness<C> {
        self.meters.output_loudness()
    }

    /// True peak at the input.
    #[must_use]
    pub fn input_true_peak(&self) -> &TruePeakMeter<C> {
        self.meters.input_peak()
    }

    /// True peak of the processed signal in every monitor mode.
    #[must_use]
    pub fn output_true_peak(&self) -> &TruePeakMeter<C> {
        self.meters.output_peak()
    }

    /// Gain reduction during speech of one of the [`METERED_STAGES`]; `None` for any other stage. For the leveller it
    /// covers cuts only.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> Option<&GainReductionMeter> {
        self.meters.reduction(stage)
    }

    /// Current gain of the leveller, dB. Negative values attenuate.
    #[must_use]
    pub fn leveller_gain_db(&self) -> f64 {
        self.path.leveller.state().gain_db()
    }

    /// Mains frequency detected by the hum stage, Hz; `None` without hum and while the stage is off.
    #[must_use]
    pub fn mains_hz(&self) -> Option<f64> {
        self.path.hum.target().on().then(|| self.path.hum.state().frequency_hz()).flatten()
    }

    /// RMS level of the hum that the hum stage removes, dBFS, in the channel with the most hum; `None` when it
    /// removes nothing and while the stage is off. Tested by `restoration` in `properties`.
    #[must_use]
    pub fn removed_hum_dbfs(&self) -> Option<f64> {
        self.path.hum.target().on().then(|| self.path.hum.state().removed_hum_dbfs()).flatten()
    }

    /// Loudness-match gains in dB: gain of the unprocessed side, and common gain of both sides.
    ///
    /// The first matches the unprocessed side to the processed side in loudness. The second is 0 or negative: it
    /// lowers both sides so that the true peak of the unprocessed side stays below the ceiling.
    #[must_use]
    pub fn loudness_match_db(&self) -> [f64; 2] {
        let loudness_match = self.monitor.loudness_match();
        [loudness_match.gain_db(), loudness_match.headroom_db()]
    }

    /// True during speech at the input and for 200 ms after it.
    #[must_use]
    pub fn voice_is_active(&self) -> bool {
        !self.is_blank() && self.meters.voice_is_active()
    }

    /// Numbers of input samples sanitised since the last reset.
    #[must_use]
    pub fn sanitised_samples(&self) -> SanitisedSamples {
        self.sanitiser.sanitised_samples()
    }
}
