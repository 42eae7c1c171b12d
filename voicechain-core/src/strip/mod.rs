//! The voice strip: the stages in order, with meters, the level ledger and three ways to listen.

pub mod audition;
mod coefs;
mod listening;
mod middle;
mod slot;
pub mod starting_points;

pub use audition::{Audition, Part};
pub use coefs::StripCoefs;
pub use listening::{Listening, Way};
pub use slot::MOTION_MS;
pub use starting_points::{StartingPoint, WORKING_LEVEL_LUFS, working_level_lufs};

use crate::detectors::VoiceActivity;
use crate::error::SettingError;
use crate::frame::{CHUNK, Frame, gather, scatter};
use crate::meters::{ChannelWeights, LevelLedger, LoudnessMeter, ReductionMeter, TruePeakMeter};
use crate::settings::{StageId, StripSettings};
use crate::stages::{HighPass, Limiter, OutputTrim, Trim};
use crate::units::SampleRate;
use listening::LevelMatch;
use middle::MiddleSlots;
use slot::{Slot, gentle};

/// Places at which the ledger listens: the input and behind each stage.
const TAPS: usize = StageId::ALL.len() + 1;
/// Taps from this one on lie behind the limiter's delay.
const LATE_FROM: usize = TAPS - 2;
/// Frames in the delay line of the unprocessed side: the longest latency (1 014) and a chunk.
const DELAY: usize = 1_024 + CHUNK;
/// Samples beyond this (+36 dB of full scale) are held to it at the door.
const LOUDEST: f32 = 64.0;
/// Samples below this are silence (they are subnormal, or would become so).
const QUIETEST: f32 = 1e-30;

/// How many LU each stage added or took, over the blocks that pass the gates of ITU-R BS.1770 at the strip's input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ledger {
    /// One entry per stage, in signal order. They sum to `total_lu`.
    pub entries: [LedgerEntry; StageId::ALL.len()],
    /// Loudness at the input, LUFS.
    pub input_lufs: f64,
    /// Loudness at the output minus loudness at the input, LU.
    pub total_lu: f64,
}

/// One line of a [`Ledger`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LedgerEntry {
    /// The stage.
    pub stage: StageId,
    /// Loudness behind it minus loudness before it, LU.
    pub lu: f64,
}

/// A voice strip for one (`C = 1`) or two channels.
///
/// Default order: trim, high-pass, corrective EQ, de-esser, compressor, tone EQ, limiter, output trim. Everything inside
/// runs on the sample clock: any split of the same frames into calls of [`run`](Self::run) gives the same bits. Nothing
/// allocates, locks, waits or panics. Any input is survived: what is not finite becomes silence at the door and is
/// counted.
///
/// Tested by `any_split_gives_the_same_bits`, `latency_and_tail_are_exact`, `recovers_from_any_abuse`,
/// `idle_strip_is_the_delayed_input` and the rest of `properties`.
pub struct Strip<const C: usize>
where
    [f32; C]: Frame,
{
    target: StripCoefs<C>,
    trim: Slot<Trim, C>,
    high_pass: Slot<HighPass, C>,
    middle: MiddleSlots<C>,
    /// The middle in its former order, while it fades out.
    former: Option<(MiddleSlots<C>, u32)>,
    limiter: Slot<Limiter, C>,
    output: Slot<OutputTrim, C>,
    /// Frames since a change of latency was set: the output fades out, the change is made, the output fades in.
    dip: Option<u32>,
    taps: [[[f32; C]; CHUNK]; TAPS],
    delay: [[f32; C]; DELAY],
    written: usize,
    latency: usize,
    ledger: LevelLedger<C, TAPS>,
    input_loudness: LoudnessMeter<C>,
    output_loudness: LoudnessMeter<C>,
    input_peak: TruePeakMeter<C>,
    output_peak: TruePeakMeter<C>,
    activity: VoiceActivity,
    reductions: [ReductionMeter; 3],
    listening: Listening,
    level_match: LevelMatch,
    /// Which part of the unprocessed side is heard.
    audition: Audition<C>,
    /// Largest peak at the input since the last gating block, up to the last complete sub-block.
    recent_peak: f32,
    /// The same since the last sub-block.
    running_peak: f32,
    /// Gains of the processed and the unprocessed signal: now, and where they are going.
    mix: [f32; 2],
    mix_from: [f32; 2],
    mix_to: [f32; 2],
    mix_left: u32,
    mix_length: u32,
    motion: u32,
    rejected: u64,
}

impl<const C: usize> Strip<C>
where
    [f32; C]: Frame,
{
    /// Designs the coefficients of a strip; the same as [`StripCoefs::design`].
    ///
    /// # Errors
    /// The first setting outside its range, with its id, its value and what is allowed.
    pub fn design(settings: &StripSettings, rate: SampleRate) -> Result<StripCoefs<C>, SettingError> {
        StripCoefs::design(settings, rate)
    }

    /// A strip that has heard nothing, at rest in these settings.
    #[must_use]
    pub fn fresh(coefs: &StripCoefs<C>) -> Self {
        let rate = coefs.rate;
        let latency = coefs.latency() as usize;
        Self {
            target: *coefs,
            trim: Slot::fresh(coefs.trim, rate),
            high_pass: Slot::fresh(coefs.high_pass, rate),
            middle: MiddleSlots::fresh(coefs),
            former: None,
            limiter: Slot::fresh(coefs.limiter, rate),
            output: Slot::fresh(coefs.output, rate),
            dip: None,
            taps: [[[0.0; C]; CHUNK]; TAPS],
            delay: [[0.0; C]; DELAY],
            written: 0,
            latency,
            ledger: LevelLedger::new(rate, LATE_FROM, latency),
            input_loudness: LoudnessMeter::new(rate, ChannelWeights::default()),
            output_loudness: LoudnessMeter::new(rate, ChannelWeights::default()),
            input_peak: TruePeakMeter::new(rate),
            output_peak: TruePeakMeter::new(rate),
            activity: VoiceActivity::fresh(rate, 0.01 * rate.hz()),
            reductions: core::array::from_fn(|_| ReductionMeter::default()),
            listening: Listening::default(),
            level_match: LevelMatch::fresh(),
            audition: Audition::fresh(Part::Whole, rate),
            recent_peak: 0.0,
            running_peak: 0.0,
            mix: [1.0, 0.0],
            mix_from: [1.0, 0.0],
            mix_to: [1.0, 0.0],
            mix_left: 0,
            mix_length: 1,
            motion: rate.samples(MOTION_MS),
            rejected: 0,
        }
    }

    /// Forgets everything it has heard; settings and way of listening stay, changes on their way arrive at once.
    pub fn reset(&mut self) {
        let listening = self.listening;
        let coefs = self.target;
        self.trim = Slot::fresh(coefs.trim, coefs.rate);
        self.high_pass = Slot::fresh(coefs.high_pass, coefs.rate);
        self.middle = MiddleSlots::fresh(&coefs);
        self.former = None;
        self.limiter = Slot::fresh(coefs.limiter, coefs.rate);
        self.output = Slot::fresh(coefs.output, coefs.rate);
        self.dip = None;
        self.delay = [[0.0; C]; DELAY];
        self.written = 0;
        self.latency = coefs.latency() as usize;
        self.level_match = LevelMatch::fresh();
        (self.recent_peak, self.running_peak) = (0.0, 0.0);
        self.reset_meters();
        self.listening = listening;
        self.audition.reset();
        self.mix = self.level_match.gains(self.heard());
        (self.mix_from, self.mix_to, self.mix_left) = (self.mix, self.mix, 0);
        self.rejected = 0;
    }

    /// Starts meters and ledger afresh; the sound is not touched.
    pub fn reset_meters(&mut self) {
        let rate = self.target.rate;
        self.ledger.reset(rate, self.latency);
        self.input_loudness.reset(rate);
        self.output_loudness.reset(rate);
        self.input_peak.reset(rate);
        self.output_peak.reset(rate);
        self.activity = VoiceActivity::fresh(rate, 0.01 * rate.hz());
        self.reductions = core::array::from_fn(|_| ReductionMeter::default());
    }

    /// Moves to new coefficients, beginning with the next frame: settings and switches glide within [`MOTION_MS`], a new
    /// order cross-fades, a new look-ahead (the only one that changes the latency) dips for twice that time. Coefficients
    /// of another rate start the strip afresh.
    pub fn set(&mut self, coefs: &StripCoefs<C>) {
        if coefs.rate != self.target.rate {
            let (listening, part) = (self.listening, self.audition.part());
            *self = Self::fresh(coefs);
            self.set_listening(listening);
            self.set_audition(part);
            return;
        }
        self.target = *coefs;
        if coefs.latency() as usize != self.latency {
            // All of it waits for the middle of the dip.
            let at = self.dip.map_or(0, |at| at.min(2 * self.motion - at));
            self.dip = Some(at);
            if at == self.motion {
                self.change_latency();
            }
            return;
        }
        if self.dip.is_none_or(|at| at >= self.motion) {
            self.apply();
        }
    }

    /// Sends the target to every stage.
    fn apply(&mut self) {
        let coefs = self.target;
        self.trim.set(coefs.trim);
        self.high_pass.set(coefs.high_pass);
        self.middle.set(&coefs);
        self.limiter.set(coefs.limiter);
        self.output.set(coefs.output);
        self.reorder();
    }

    /// Begins the cross-fade to the target's order, unless one is under way; then it begins when that one is over.
    fn reorder(&mut self) {
        if self.former.is_none() && self.middle.order != self.target.order {
            self.former = Some((self.middle.clone(), 0));
            self.middle.order = self.target.order;
            self.ledger.reset(self.target.rate, self.latency);
            self.input_loudness.reset(self.target.rate);
            self.output_loudness.reset(self.target.rate);
        }
    }

    /// Chooses what is heard, from the next frame on, with a cross-fade of [`MOTION_MS`].
    pub fn set_listening(&mut self, listening: Listening) {
        self.listening = listening;
        self.glide_mix(self.motion);
    }

    /// What is heard.
    #[must_use]
    pub fn listening(&self) -> Listening {
        self.listening
    }

    /// Plays a part of the unprocessed side instead of what is listened to, from the next frame on, with a glide of
    /// [`MOTION_MS`]; [`Part::Whole`] goes back. With [`Listening::matched`] it has the gain that the whole unprocessed side
    /// would have. The processing goes on unheard: meters, ledger and match do not know of it.
    pub fn set_audition(&mut self, part: Part) {
        self.audition.set(part);
        self.glide_mix(self.motion);
    }

    /// The part of the unprocessed side that is played; [`Part::Whole`] when none is.
    #[must_use]
    pub fn audition(&self) -> Part {
        self.audition.part()
    }

    /// What is heard: of the unprocessed side while a part of it is played.
    fn heard(&self) -> Listening {
        match self.audition.part() {
            Part::Whole => self.listening,
            _ => Listening { way: Way::Unprocessed, ..self.listening },
        }
    }

    fn glide_mix(&mut self, frames: u32) {
        let wanted = self.level_match.gains(self.heard());
        if wanted != self.mix_to {
            (self.mix_from, self.mix_to) = (self.mix, wanted);
            (self.mix_left, self.mix_length) = (frames, frames);
        }
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

    /// Processes frames in place, as many as there are. Cannot fail.
    pub fn run(&mut self, frames: &mut [[f32; C]]) {
        let mut rest = frames;
        while !rest.is_empty() {
            let mut n = rest.len().min(CHUNK).min(self.ledger.left());
            if let Some(at) = self.dip {
                let end = if at < self.motion { self.motion } else { 2 * self.motion };
                n = n.min((end - at) as usize);
            }
            if let Some((_, at)) = self.former {
                n = n.min((self.motion - at) as usize);
            }
            let (now, later) = rest.split_at_mut(n);
            self.piece(now);
            rest = later;
        }
    }

    /// Processes planar channels in place, as hosts give them; as far as both reach.
    pub fn run_planar(&mut self, channels: [&mut [f32]; C]) {
        let mut channels = channels;
        let length = channels.iter().map(|c| c.len()).min().unwrap_or(0);
        let mut frames = [[0.0; C]; CHUNK];
        for at in (0..length).step_by(CHUNK) {
            let n = CHUNK.min(length - at);
            gather(channels.each_ref().map(|channel| &channel[at..at + n]), &mut frames[..n]);
            self.run(&mut frames[..n]);
            scatter(&frames[..n], channels.each_mut().map(|channel| &mut channel[at..at + n]));
        }
    }

    /// Silences what is not finite or too small to matter, holds what is absurdly large, and notes the largest sample.
    fn door(&mut self, frames: &mut [[f32; C]]) {
        // As whole numbers, magnitudes of floats are in the same order; what is not finite is above all others.
        let bits = |sample: f32| (sample.to_bits() & 0x7FFF_FFFF) as i32;
        let (quietest, loudest) = (QUIETEST.to_bits() as i32, LOUDEST.to_bits() as i32);
        let mut most = 0;
        for sample in frames.as_flattened_mut() {
            let size = bits(*sample);
            *sample = if size < quietest { 0.0 } else { *sample };
            most = if size > most { size } else { most };
        }
        if most > loudest {
            for sample in frames.as_flattened_mut().iter_mut().filter(|s| bits(**s) > loudest) {
                self.rejected += 1;
                *sample = if sample.is_finite() { LOUDEST.copysign(*sample) } else { 0.0 };
            }
            most = frames.iter().flatten().map(|s| bits(*s)).max().unwrap_or(0);
        }
        self.running_peak = self.running_peak.max(f32::from_bits(most as u32));
    }

    /// Writes frames into the delay line.
    fn remember(&mut self, frames: &[[f32; C]]) {
        let at = self.written;
        let (now, wrapped) = frames.split_at(frames.len().min(DELAY - at));
        self.delay[at..at + now.len()].copy_from_slice(now);
        self.delay[..wrapped.len()].copy_from_slice(wrapped);
        self.written = (at + frames.len()) % DELAY;
    }

    fn piece(&mut self, frames: &mut [[f32; C]]) {
        let n = frames.len();
        self.door(frames);
        self.remember(frames);
        self.input_peak.push(frames);
        self.taps[0][..n].copy_from_slice(frames);
        let mut changes = [true; TAPS];

        changes[1] = !self.trim.rests();
        if changes[1] {
            self.trim.run(frames);
        }
        self.taps[1][..n].copy_from_slice(frames);
        changes[2] = !self.high_pass.rests();
        if changes[2] {
            self.high_pass.run(frames);
        }
        self.taps[2][..n].copy_from_slice(frames);

        let mut before = [[0.0; C]; CHUNK];
        if self.former.is_some() {
            before[..n].copy_from_slice(frames);
        }
        for (k, stage) in self.middle.order.into_iter().enumerate() {
            changes[3 + k] = !self.middle.rests(stage);
            if changes[3 + k] {
                self.middle.run(stage, frames);
            }
            self.taps[3 + k][..n].copy_from_slice(frames);
        }
        if self.former.is_some() {
            self.cross_fade_orders(frames, &mut before[..n]);
            changes[LATE_FROM - 1] = true;
            self.taps[LATE_FROM - 1][..n].copy_from_slice(frames);
        }

        self.limiter.run(frames);
        self.taps[LATE_FROM][..n].copy_from_slice(frames);
        changes[LATE_FROM + 1] = !self.output.rests();
        self.output.run(frames);
        for sample in frames.as_flattened_mut() {
            *sample = if sample.abs() < QUIETEST { 0.0 } else { *sample };
        }
        self.taps[LATE_FROM + 1][..n].copy_from_slice(frames);
        self.output_peak.push(frames);

        let done = self.ledger.push(&self.taps, n, &changes);
        if let Some(energies) = done.last {
            self.output_loudness.push_energy(energies);
        }
        if let Some(block) = done.block {
            self.level_match.block(block.input, block.output, core::mem::take(&mut self.recent_peak));
        }
        self.listen(frames);
        if let Some(energies) = done.first {
            self.sub_block(energies);
        }
        // Both may start the ledger afresh: not before it has heard these frames.
        if self.former.as_ref().is_some_and(|&(_, at)| at == self.motion) {
            self.former = None;
            self.reorder();
        }
        self.advance_dip(frames);
    }

    /// While the order changes: fades from the middle in its former order to the middle as it is.
    fn cross_fade_orders(&mut self, frames: &mut [[f32; C]], before: &mut [[f32; C]]) {
        let Some((former, at)) = &mut self.former else { return };
        for stage in former.order {
            former.run(stage, before);
        }
        for (new, old) in frames.iter_mut().zip(before.iter()) {
            *at += 1;
            let share = gentle(f64::from(*at) / f64::from(self.motion)) as f32;
            for (new, &old) in new.iter_mut().zip(old) {
                *new = old + share * (*new - old);
            }
        }
    }

    /// Mixes what is heard from the processed frames and the delayed input.
    fn listen(&mut self, frames: &mut [[f32; C]]) {
        if self.mix_left == 0 && self.mix == [1.0, 0.0] {
            return;
        }
        let n = frames.len();
        for (i, frame) in frames.iter_mut().enumerate() {
            if self.mix_left > 0 {
                self.mix_left -= 1;
                let left = gentle(f64::from(self.mix_left) / f64::from(self.mix_length)) as f32;
                self.mix = core::array::from_fn(|k| self.mix_to[k] + left * (self.mix_from[k] - self.mix_to[k]));
                if self.mix_left == 0 && self.mix[1] == 0.0 {
                    // Nothing of it is heard any more.
                    self.audition.reset();
                }
            }
            let age = self.latency + n - i;
            let dry = self.audition.next(self.delay[(self.written + DELAY - age) % DELAY]);
            for (sample, dry) in frame.iter_mut().zip(dry) {
                *sample = self.mix[0] * *sample + self.mix[1] * dry;
            }
        }
    }

    /// Once per 10 ms: voice activity, gain reductions, level match.
    fn sub_block(&mut self, energies: [f64; C]) {
        let frames = self.input_loudness.clock().length() as f64;
        self.activity.tick(energies.iter().sum::<f64>() / frames);
        self.input_loudness.push_energy(energies);
        self.recent_peak = self.recent_peak.max(core::mem::take(&mut self.running_peak));
        let speech = self.activity.is_active();
        let taken = [
            self.middle.de_esser.state.take_reduction_db(),
            self.middle.compressor.state.take_reduction_db(),
            self.limiter.state.take_reduction_db(),
        ];
        for (meter, db) in self.reductions.iter_mut().zip(taken) {
            meter.push(db, speech);
        }
        let heard = self.heard();
        let matched = heard.matched && heard.way != Way::Processed;
        self.level_match.step(matched, speech, self.target.ceiling_dbtp);
        if self.mix_left == 0 {
            self.glide_mix(self.motion / 2);
        }
    }

    /// While the latency changes: fades the output out, makes the change, fades in.
    fn advance_dip(&mut self, frames: &mut [[f32; C]]) {
        let Some(mut at) = self.dip else { return };
        for frame in frames.iter_mut() {
            at += 1;
            let share = gentle(f64::from(self.motion.abs_diff(at)) / f64::from(self.motion)) as f32;
            frame.iter_mut().for_each(|sample| *sample *= share);
        }
        self.dip = (at < 2 * self.motion).then_some(at);
        if at == self.motion {
            self.change_latency();
        }
    }

    /// In the middle of the dip. The limiter keeps the sound that it delays, or it would begin with a hole.
    fn change_latency(&mut self) {
        self.latency = self.target.latency() as usize;
        self.limiter.jump(self.target.limiter);
        self.ledger.reset(self.target.rate, self.latency);
        self.input_loudness.reset(self.target.rate);
        self.output_loudness.reset(self.target.rate);
        self.apply();
    }

    /// The level ledger since the last reset; `None` before any block of 400 ms has passed the gates. A new order or
    /// latency starts it afresh.
    #[must_use]
    pub fn ledger(&self) -> Option<Ledger> {
        let loudness = self.ledger.loudness()?;
        let mut stages = [StageId::Trim; StageId::ALL.len()];
        stages[1] = StageId::HighPass;
        for (stage, middle) in stages[2..].iter_mut().zip(self.middle.order) {
            *stage = middle.stage();
        }
        stages[LATE_FROM - 1] = StageId::Limiter;
        stages[LATE_FROM] = StageId::Output;
        Some(Ledger {
            entries: core::array::from_fn(|k| LedgerEntry { stage: stages[k], lu: loudness[k + 1] - loudness[k] }),
            input_lufs: loudness[0],
            total_lu: loudness[TAPS - 1] - loudness[0],
        })
    }

    /// Loudness at the input.
    #[must_use]
    pub fn input_loudness(&self) -> &LoudnessMeter<C> {
        &self.input_loudness
    }

    /// Loudness of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_loudness(&self) -> &LoudnessMeter<C> {
        &self.output_loudness
    }

    /// True peak at the input.
    #[must_use]
    pub fn input_true_peak(&self) -> &TruePeakMeter<C> {
        &self.input_peak
    }

    /// True peak of the processed signal, whatever is heard.
    #[must_use]
    pub fn output_true_peak(&self) -> &TruePeakMeter<C> {
        &self.output_peak
    }

    /// Gain reduction of the de-esser, the compressor or the limiter while somebody spoke; `None` for any other stage.
    #[must_use]
    pub fn reduction(&self, stage: StageId) -> Option<&ReductionMeter> {
        match stage {
            StageId::DeEsser => Some(&self.reductions[0]),
            StageId::Compressor => Some(&self.reductions[1]),
            StageId::Limiter => Some(&self.reductions[2]),
            _ => None,
        }
    }

    /// By how many dB the unprocessed side is raised (or lowered) to match, and by how many dB both sides are lowered so
    /// that it stays under the ceiling.
    #[must_use]
    pub fn match_db(&self) -> [f64; 2] {
        [self.level_match.gain_db(), self.level_match.headroom_db()]
    }

    /// True while somebody speaks at the input, and for 200 ms after.
    #[must_use]
    pub fn voice_is_active(&self) -> bool {
        self.activity.is_active()
    }

    /// How many samples were refused at the door since reset: not finite, or beyond +36 dB of full scale.
    #[must_use]
    pub fn rejected_samples(&self) -> u64 {
        self.rejected
    }

    /// The rate of the strip.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.target.rate
    }
}
