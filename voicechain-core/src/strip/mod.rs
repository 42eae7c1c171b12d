//! The voice strip: the stages in order, with meters, the level ledger and three ways to listen.

pub mod audition;
mod changing;
mod coefs;
mod heard;
mod learning;
mod listening;
mod middle;
mod piece;
mod readings;
mod slot;
pub mod starting_points;

pub use audition::{Audition, Part};
pub use coefs::StripCoefs;
pub use learning::LEARNT_S;
pub use listening::{Listening, Way};
pub use readings::{Ledger, LedgerEntry};
pub use slot::MOTION_MS;
pub use starting_points::{StartingPoint, WORKING_LEVEL_LUFS, working_level_lufs};

use crate::detectors::VoiceActivity;
use crate::error::SettingError;
use crate::frame::{CHUNK, Frame, gather, scatter};
use crate::meters::{ChannelWeights, LevelLedger, LoudnessMeter, ReductionMeter, TruePeakMeter};
use crate::settings::{StageId, StripSettings};
use crate::stages::{DeReverb, Expander, HighPass, Hum, Leveller, Limiter, OutputTrim, Trim};
use crate::units::SampleRate;
use listening::LevelMatch;
use middle::MiddleSlots;
use slot::Slot;

/// Places at which the ledger listens: the input and behind each stage.
const TAPS: usize = StageId::ALL.len() + 1;
/// Taps from this one on lie behind the delay of the de-reverb, and from this one on in the middle.
const ROOM_FROM: usize = 4;
const MIDDLE_FROM: usize = 7;
/// Taps from this one on lie behind the limiter's delay.
const LATE_FROM: usize = TAPS - 2;
/// The stages with a [`ReductionMeter`], in the order of the meters.
const REDUCING: [StageId; 6] =
    [StageId::DeReverb, StageId::Expander, StageId::Leveller, StageId::DeEsser, StageId::Compressor, StageId::Limiter];
/// Frames in the delay line of the unprocessed side: the longest latency (limiter 1 014, de-reverb 2 048) and a chunk.
const DELAY: usize = 1_024 + 2_048 + CHUNK;
/// Samples beyond this (+36 dB of full scale) are held to it at the door.
const LOUDEST: f32 = 64.0;
/// Samples below this are silence (they are subnormal, or would become so).
const QUIETEST: f32 = 1e-30;

/// By how many frames each tap of the ledger lags.
fn delays<const C: usize>(coefs: &StripCoefs<C>) -> [usize; TAPS]
where
    [f32; C]: Frame,
{
    let late = coefs.latency() as usize;
    let room = coefs.de_reverb.latency() as usize;
    core::array::from_fn(|tap| match tap {
        ..ROOM_FROM => 0,
        ROOM_FROM..LATE_FROM => room,
        _ => late,
    })
}

/// A voice strip for one (`C = 1`) or two channels.
///
/// Order: trim, hum, high-pass, de-reverb, expander, leveller; then, in an order that can be set, corrective EQ, de-esser, compressor
/// and tone EQ; then limiter and output trim. What mends a recording stands before what shapes it: hum, room, noise
/// and the drift of a talker are measured on the recording as it is, and the compressor's threshold meets phrases of one level.
/// Everything inside
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
    hum: Slot<Hum, C>,
    high_pass: Slot<HighPass, C>,
    de_reverb: Slot<DeReverb, C>,
    expander: Slot<Expander, C>,
    leveller: Slot<Leveller, C>,
    middle: MiddleSlots<C>,
    /// The middle in its former order, while it fades out.
    former: Option<(MiddleSlots<C>, u32)>,
    limiter: Slot<Limiter, C>,
    output: Slot<OutputTrim, C>,
    /// Frames since a change of latency was set: the output fades out, the change is made, the output fades in.
    dip: Option<u32>,
    /// Frames for which the output stays silent in the middle of that: until the step that a new delay made is past the limiter.
    hold: u32,
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
    reductions: [ReductionMeter; REDUCING.len()],
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
            hum: Slot::fresh(coefs.hum, rate),
            high_pass: Slot::fresh(coefs.high_pass, rate),
            de_reverb: Slot::fresh(coefs.de_reverb, rate),
            expander: Slot::fresh(coefs.expander, rate),
            leveller: Slot::fresh(coefs.leveller, rate),
            middle: MiddleSlots::fresh(coefs),
            former: None,
            limiter: Slot::fresh(coefs.limiter, rate),
            output: Slot::fresh(coefs.output, rate),
            dip: None,
            hold: 0,
            taps: [[[0.0; C]; CHUNK]; TAPS],
            delay: [[0.0; C]; DELAY],
            written: 0,
            latency,
            ledger: LevelLedger::new(rate, delays(coefs)),
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
        self.hum = Slot::fresh(coefs.hum, coefs.rate);
        self.high_pass = Slot::fresh(coefs.high_pass, coefs.rate);
        // In place: it would be a burden on the stack of an audio thread.
        self.de_reverb.state.clear();
        self.de_reverb.jump(coefs.de_reverb);
        self.expander = Slot::fresh(coefs.expander, coefs.rate);
        self.leveller = Slot::fresh(coefs.leveller, coefs.rate);
        self.middle = MiddleSlots::fresh(&coefs);
        self.former = None;
        self.limiter = Slot::fresh(coefs.limiter, coefs.rate);
        self.output = Slot::fresh(coefs.output, coefs.rate);
        (self.dip, self.hold) = (None, 0);
        self.delay.fill([0.0; C]);
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
        self.ledger.reset(rate, delays(&self.target));
        self.input_loudness.reset(rate);
        self.output_loudness.reset(rate);
        self.input_peak.reset(rate);
        self.output_peak.reset(rate);
        self.activity = VoiceActivity::fresh(rate, 0.01 * rate.hz());
        self.reductions = core::array::from_fn(|_| ReductionMeter::default());
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
                let left = match at {
                    _ if self.hold > 0 => self.hold,
                    _ if at < self.motion => self.motion - at,
                    _ => 2 * self.motion - at,
                };
                n = n.min(left as usize);
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

    /// Gives the leveller a gain in dB in place of its own, until `None` gives it back: for files, whose gains
    /// [`plan`](crate::stages::leveller::ahead::plan) finds beforehand. It is reached, along a straight line of 10 ms, within
    /// 20 ms. Anything else about it stays: switched off it does nothing, and its largest rise and cut hold.
    pub fn guide_leveller(&mut self, gain_db: Option<f64>) {
        self.leveller.state.guide(gain_db);
    }

    /// By how many frames the sound is delayed when it comes to the leveller.
    #[must_use]
    pub fn leveller_delay(&self) -> u32 {
        self.target.de_reverb.latency()
    }

    /// The rate of the strip.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.target.rate
    }
}
