//! The voice strip: the stages in order, with meters, the level ledger and three monitor modes.

mod analyse_ahead;
pub mod audition;
mod coefs;
mod input_sanitiser;
mod latency_change;
mod ledger;
mod meters;
mod monitor;
mod monitoring;
mod signal_path;
mod stage_list;
pub mod starting_points;

pub use crate::stages::processor::TRANSITION_MS;
pub use analyse_ahead::ANALYSED_AHEAD_S;
pub use audition::{Audition, AuditionBand};
pub use coefs::StripCoefs;
pub use ledger::{Ledger, LedgerEntry};
pub use meters::METERED_STAGES;
pub use monitoring::{MonitorMode, Monitoring};
pub use starting_points::StartingPoint;

use crate::frame::{CHUNK, Frame, deinterleave, interleave};
use crate::meters::{GainReductionMeter, SubBlockLoudness, TruePeakMeter};
use crate::settings::StageId;
use crate::units::SampleRate;
use input_sanitiser::{InputSanitiser, flush_denormals};
use latency_change::LatencyChange;
use meters::StripMeters;
use monitor::Monitor;
use signal_path::SignalPath;

/// A voice strip for one (`C = 1`) or two channels.
///
/// Order: trim, hum, high-pass, de-reverb, expander, leveller; then, in an order that can be set, corrective EQ, de-esser,
/// compressor and tone EQ; then limiter and output trim ([`signal_order`](crate::settings::signal_order)). What mends a recording
/// stands before what shapes it: hum, room, noise and the drift of a talker are measured on the recording as it is, and the
/// compressor's threshold meets phrases of one level.
///
/// Everything inside runs on the sample clock: any split of the same frames into calls of [`run`](Self::run) gives the same bits.
/// Nothing allocates, locks, waits or panics. Any input is survived: what is not finite becomes silence at the door and is
/// counted.
///
/// Tested by `any_split_gives_the_same_bits`, `latency_and_tail_are_exact`, `recovers_from_any_hostile_input`,
/// `idle_strip_is_the_delayed_input` and the rest of `properties`.
pub struct Strip<const C: usize>
where
    [f32; C]: Frame,
{
    /// Where all of it is, or is going.
    target: StripCoefs<C>,
    sanitiser: InputSanitiser,
    path: SignalPath<C>,
    latency_change: LatencyChange,
    monitor: Monitor<C>,
    meters: StripMeters<C>,
}

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// A strip that has heard nothing, at rest in these settings.
    #[must_use]
    pub fn new(coefs: &StripCoefs<C>) -> Self {
        let transition = coefs.rate.samples(TRANSITION_MS);
        Self {
            target: *coefs,
            sanitiser: InputSanitiser::default(),
            path: SignalPath::new(coefs),
            latency_change: LatencyChange::new(transition),
            monitor: Monitor::new(coefs.rate, coefs.latency(), transition),
            meters: StripMeters::new(coefs),
        }
    }

    /// Forgets everything it has heard; settings and monitor mode stay, changes on their way arrive at once.
    pub fn reset(&mut self) {
        self.sanitiser = InputSanitiser::default();
        self.path.restart(&self.target);
        self.latency_change.reset();
        self.monitor.reset(self.target.latency());
        self.meters.reset(&self.target);
    }

    /// Starts meters and ledger afresh; the processing is not touched, the loudness match measures afresh.
    pub fn reset_meters(&mut self) {
        self.meters.reset(&self.target);
    }

    /// Moves to new coefficients, beginning with the next frame: settings and switches glide within [`TRANSITION_MS`], a new order
    /// cross-fades, a new look-ahead or spectral latency (they change the latency) dips for twice that time, and a new variant is silent for the
    /// limiter's latency between. Coefficients of
    /// another rate start the strip afresh.
    pub fn set(&mut self, coefs: &StripCoefs<C>) {
        if coefs.rate != self.target.rate {
            return self.start_afresh(coefs);
        }
        self.target = *coefs;
        if coefs.latency() != self.monitor.latency() {
            // All of it waits until the output is silent.
            if self.latency_change.begin() {
                self.change_latency();
            }
        } else if !self.latency_change.is_fading_out() {
            self.apply();
        }
    }

    /// Begins at another rate. By itself, so that only this needs the stack that a whole strip takes.
    #[cold]
    #[inline(never)]
    fn start_afresh(&mut self, coefs: &StripCoefs<C>) {
        let (monitoring, band) = (self.monitoring(), self.audition());
        *self = Self::new(coefs);
        self.set_monitoring(monitoring);
        self.set_audition(band);
    }

    /// Sends the target to every stage.
    fn apply(&mut self) {
        self.path.set(&self.target);
        self.reorder();
    }

    /// Begins the cross-fade to the target's order, unless one is under way; then it begins when that one is over.
    fn reorder(&mut self) {
        if self.path.reorder(self.target.order) {
            self.meters.restart_loudness(&self.target);
        }
    }

    /// Takes the target's latency, while nothing is heard.
    fn change_latency(&mut self) {
        self.monitor.set_latency(self.target.latency());
        let mute = self.path.change_latency(&self.target);
        self.latency_change.mute_for(mute);
        self.meters.restart_loudness(&self.target);
        self.apply();
    }

    /// Processes frames in place, as many as there are. Cannot fail.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        let mut rest = frames;
        while !rest.is_empty() {
            let most = self.meters.remaining().min(self.latency_change.remaining()).min(self.path.remaining());
            let (now, later) = rest.split_at_mut(rest.len().min(most));
            self.run_segment(now);
            rest = later;
        }
    }

    /// Runs at most a chunk of frames; no fade, cross-fade or sub-block ends before the last of them.
    fn run_segment(&mut self, frames: &mut [[f32; C]]) {
        let Self { target, sanitiser, path, latency_change, monitor, meters } = self;
        let largest = sanitiser.sanitise(frames);
        monitor.push_input(frames, largest);
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
            monitor.step(speech, target.ceiling_dbtp);
        }
        let latency_changes = latency_change.run(frames);
        // Both may start the ledger afresh: not before it has heard these frames.
        if path.end_order_change() {
            self.reorder();
        }
        if latency_changes {
            self.change_latency();
        }
    }

    /// Processes planar channels in place, as hosts give them; as far as the shortest reaches.
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

    /// Chooses what is heard, from the next frame on, with a cross-fade of [`TRANSITION_MS`].
    pub fn set_monitoring(&mut self, monitoring: Monitoring) {
        self.monitor.set_monitoring(monitoring);
    }

    /// Plays a part of the unprocessed side instead of what is listened to, from the next frame on, with a glide of
    /// [`TRANSITION_MS`]; [`AuditionBand::Full`] goes back. With [`Monitoring::loudness_matched`] it has the gain that the whole unprocessed side
    /// would have. The processing goes on unheard: meters, ledger and match do not know of it.
    pub fn set_audition(&mut self, band: AuditionBand) {
        self.monitor.set_audition(band);
    }

    /// Gives the leveller a gain in dB in place of its own, until `None` gives it back: for files, whose gains
    /// [`compute`](crate::stages::leveller::gain_curve::compute) finds beforehand. It is reached, along a straight line of 10 ms, within
    /// 20 ms. Anything else about it stays: switched off it does nothing, and its maximum boost and cut hold. A reset, another
    /// rate, and switching the leveller on forget it.
    pub fn override_leveller_gain(&mut self, gain_db: Option<f64>) {
        self.path.leveller.state_mut().override_gain(gain_db);
    }
}

/// What a strip answers.
impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// The rate of the strip.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.target.rate
    }

    /// Delay of the output against the input, in samples, as set.
    #[must_use]
    pub fn latency(&self) -> u32 {
        self.target.latency()
    }

    /// Samples until the impulse response stays under -120 dB of its peak, as set; see [`StripCoefs::tail`].
    #[must_use]
    pub fn tail(&self) -> u32 {
        self.target.tail()
    }

    /// By how many frames the sound is delayed when it comes to the leveller.
    #[must_use]
    pub fn leveller_delay(&self) -> u32 {
        self.target.latency_before(StageId::Leveller)
    }

    /// What is heard.
    #[must_use]
    pub fn monitoring(&self) -> Monitoring {
        self.monitor.monitoring()
    }

    /// The part of the unprocessed side that is played; [`AuditionBand::Full`] when none is.
    #[must_use]
    pub fn audition(&self) -> AuditionBand {
        self.monitor.audition()
    }

    /// The level ledger since the last reset; `None` before any block of 400 ms has passed the gates. A new order or
    /// latency starts it afresh.
    #[must_use]
    pub fn ledger(&self) -> Option<Ledger> {
        self.meters.loudness().map(|lufs| Ledger::new(self.path.order(), lufs))
    }

    /// Loudness at the input.
    #[must_use]
    pub fn input_loudness(&self) -> &SubBlockLoudness<C> {
        self.meters.input_loudness()
    }

    /// Loudness of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_loudness(&self) -> &SubBlockLoudness<C> {
        self.meters.output_loudness()
    }

    /// True peak at the input.
    #[must_use]
    pub fn input_true_peak(&self) -> &TruePeakMeter<C> {
        self.meters.input_peak()
    }

    /// True peak of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_true_peak(&self) -> &TruePeakMeter<C> {
        self.meters.output_peak()
    }

    /// Gain reduction, while somebody spoke, of one of the [`METERED_STAGES`] (of the leveller its cuts); `None` for any other
    /// stage.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> Option<&GainReductionMeter> {
        self.meters.reduction(stage)
    }

    /// What the leveller gives now, in dB; below 0 it takes.
    #[must_use]
    pub fn leveller_gain_db(&self) -> f64 {
        self.path.leveller.state().gain_db()
    }

    /// The mains frequency that the hum stage has found, Hz; `None` where there is no hum, and when it is off.
    #[must_use]
    pub fn mains_hz(&self) -> Option<f64> {
        self.path.hum.state().frequency_hz()
    }

    /// The level of the hum that the hum stage takes out now, dBFS RMS, of the channel that has most of it; `None` where it
    /// takes nothing. Tested by `mending` in `properties`.
    #[must_use]
    pub fn removed_hum_dbfs(&self) -> Option<f64> {
        self.path.hum.state().removed_hum_dbfs()
    }

    /// By how many dB the unprocessed side is raised (or lowered) to match, and by how many dB both sides are lowered so
    /// that it stays under the ceiling.
    #[must_use]
    pub fn loudness_match_db(&self) -> [f64; 2] {
        let loudness_match = self.monitor.loudness_match();
        [loudness_match.gain_db(), loudness_match.headroom_db()]
    }

    /// True while somebody speaks at the input, and for 200 ms after.
    #[must_use]
    pub fn voice_is_active(&self) -> bool {
        self.meters.voice_is_active()
    }

    /// How many samples were refused at the door since reset: not finite, or beyond +36 dB of full scale.
    #[must_use]
    pub fn sanitised_samples(&self) -> u64 {
        self.sanitiser.sanitised_samples()
    }
}
