//! The compressor: feed-forward, log domain, soft knee, smooth decoupled ballistics.

use super::{Stage, StageContext};
use crate::detectors::{CrestFactor, TICK};
use crate::error::SettingError;
use crate::filters::design::{BUTTERWORTH_Q, high_pass};
use crate::filters::{Cascade, CascadeState};
use crate::frame::{CHUNK, Frame};
use crate::gain::{CompressorCurve, SmoothDecoupled};
use crate::math::{fast_from_db, fast_to_db, for_each_value, from_db, smoothing};
use crate::settings::{CompressorSettings, MakeUp};
use crate::units::SampleRate;

/// Evens out the level.
///
/// The level is `|x|` per sample behind the side-chain high-pass (second-order Butterworth); the static curve and the
/// smooth decoupled ballistics follow Giannoulis, Massberg, Reiss 2012. At 100 % link the louder channel drives both.
/// Latency 0, tail 0 (the detector's tail is not heard). Without reduction and with 0 dB make-up the input returns bit
/// for bit. Tested by `compressor_follows_static_curve_and_times`.
#[derive(Clone, Copy, Debug)]
pub struct Compressor;

/// Crest factor (squared) of steady speech over 200 ms, about 10 dB; more than this counts as a transient (common practice,
/// no source).
const SPEECH_CREST_SQUARED: f64 = 10.0;
/// A automatic release is never shorter than this part of the set one.
const MIN_RELEASE_SHARE: f64 = 0.25;
/// A reduction that nothing has asked for during so many seconds is left over from something that is gone: a
/// automatic release is at its shortest then (common practice, no source).
const RELEASE_TIMEOUT_S: f64 = 0.25;
/// Automatic make-up gives back half of what the static curve takes at this level, dB: about where the peaks of a voice at
/// working level lie. Chosen on two recorded voices, whose loudness the compressor of the spoken starting points then
/// changes by less than 1 LU (`programs::real_speech`).
const MAKE_UP_LEVEL_DB: f64 = -7.0;
/// Amplitudes below this (-140 dB) are taken for it.
const MIN_MAGNITUDE: f32 = 1e-7;

/// Coefficients of the [`Compressor`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompressorCoefs {
    curve: CompressorCurve<f32>,
    exact_curve: CompressorCurve<f64>,
    side_chain: Cascade<1>,
    attack: f64,
    release: f64,
    release_ms: f64,
    rate_hz: f64,
    auto_release: bool,
    make_up: f32,
    mix: f32,
    link: f32,
    threshold_db: f64,
    ratio: f64,
    knee_db: f64,
    attack_ms: f64,
}

impl CompressorCoefs {
    fn new(s: &CompressorSettings, rate: SampleRate) -> Self {
        let exact_curve = CompressorCurve::new(s.threshold_db, s.ratio, s.knee_db);
        let make_up_db = match s.make_up {
            MakeUp::Manual => s.make_up_db,
            MakeUp::Automatic => 0.5 * exact_curve.reduction_db(MAKE_UP_LEVEL_DB),
        };
        Self {
            curve: CompressorCurve::new(s.threshold_db, s.ratio, s.knee_db),
            exact_curve,
            side_chain: Cascade::new([high_pass(s.side_chain_high_pass_hz, BUTTERWORTH_Q, rate)]),
            attack: smoothing(s.attack_ms, rate.hz(), 1.0),
            release: smoothing(s.release_ms, rate.hz(), 1.0),
            release_ms: s.release_ms,
            rate_hz: rate.hz(),
            auto_release: s.auto_release,
            make_up: from_db(make_up_db) as f32,
            mix: (s.mix_percent * 0.01) as f32,
            link: (s.stereo_link_percent * 0.01) as f32,
            threshold_db: s.threshold_db,
            ratio: s.ratio,
            knee_db: s.knee_db,
            attack_ms: s.attack_ms,
        }
    }

    /// The make-up gain, in dB, set manually or derived.
    #[must_use]
    pub fn make_up_db(&self) -> f64 {
        crate::math::to_db(f64::from(self.make_up))
    }

    /// True when everything is finite and the side chain stable.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.side_chain.is_stable()
            && (0.0..1.0).contains(&self.attack)
            && (0.0..1.0).contains(&self.release)
            && self.make_up.is_finite()
    }

    /// Static gain at a peak level in dB of full scale, without make-up and mix.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        self.exact_curve.gain_db(level_db)
    }
}

/// What the sound has left in a [`Compressor`].
#[derive(Clone, Copy, Debug)]
pub struct CompressorState<const C: usize>
where
    [f32; C]: Frame,
{
    side_chain: CascadeState<C, 1>,
    ballistics: [SmoothDecoupled; C],
    crest: CrestFactor,
    release: Option<f64>,
    above_threshold: bool,
    /// Ticks since anything was above the threshold.
    ticks_below_threshold: u32,
    max_reduction_db: f64,
}

impl<const C: usize> CompressorState<C> where [f32; C]: Frame {}

impl<const C: usize> Stage<C> for Compressor
where
    [f32; C]: Frame,
{
    type Settings = CompressorSettings;
    type Coefs = CompressorCoefs;
    type State = CompressorState<C>;

    fn design(settings: &CompressorSettings, rate: SampleRate) -> Result<CompressorCoefs, SettingError> {
        settings.check()?;
        Ok(CompressorCoefs::new(settings, rate))
    }

    fn state(rate: SampleRate) -> CompressorState<C> {
        CompressorState {
            side_chain: CascadeState::new(),
            ballistics: [SmoothDecoupled::default(); C],
            crest: CrestFactor::new(rate),
            release: None,
            above_threshold: false,
            ticks_below_threshold: 0,
            max_reduction_db: 0.0,
        }
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        for chunk in frames.chunks_mut(CHUNK) {
            run_chunk(context.coefs, context.state, chunk);
        }
    }

    const HAS_GAIN_REDUCTION: bool = true;

    fn interpolated(from: &CompressorCoefs, to: &CompressorCoefs, t: f64) -> CompressorCoefs {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        let mix32 = |a: f32, b: f32| a + (b - a) * t as f32;
        // The ratio moves by its effect, 1 - 1/ratio, so that an infinite one can be reached.
        let ratio = 1.0 / mix(1.0 / from.ratio, 1.0 / to.ratio);
        let (threshold_db, knee_db) = (mix(from.threshold_db, to.threshold_db), mix(from.knee_db, to.knee_db));
        CompressorCoefs {
            curve: CompressorCurve::new(threshold_db, ratio, knee_db),
            exact_curve: CompressorCurve::new(threshold_db, ratio, knee_db),
            side_chain: from.side_chain.interpolated(&to.side_chain, t),
            attack: mix(from.attack, to.attack),
            release: mix(from.release, to.release),
            release_ms: mix(from.release_ms, to.release_ms),
            make_up: mix32(from.make_up, to.make_up),
            mix: mix32(from.mix, to.mix),
            link: mix32(from.link, to.link),
            threshold_db,
            ratio,
            knee_db,
            ..*to
        }
    }

    fn enter_transition(context: StageContext<'_, Self, C>) {
        context.state.side_chain.enter_transition(&context.coefs.side_chain);
    }

    fn leave_transition(context: StageContext<'_, Self, C>) {
        context.state.side_chain.leave_transition(&context.coefs.side_chain);
    }

    fn is_stable(coefs: &CompressorCoefs) -> bool {
        coefs.is_stable()
    }

    fn gain_db(coefs: &CompressorCoefs, level_db: f64) -> f64 {
        coefs.gain_db(level_db)
    }

    fn compensation_db(coefs: &CompressorCoefs) -> f64 {
        coefs.make_up_db()
    }

    fn take_reduction_db(state: &mut CompressorState<C>) -> f64 {
        core::mem::take(&mut state.max_reduction_db)
    }
}

/// A value per frame of a chunk.
type PerFrame = [f32; CHUNK];

/// Runs at most a chunk of frames: the level, what the curve wants taken away of it, what is taken away, the gain.
fn run_chunk<const C: usize>(coefs: &CompressorCoefs, state: &mut CompressorState<C>, frames: &mut [[f32; C]])
where
    [f32; C]: Frame,
{
    let n = frames.len();
    let mut side = [[0.0; C]; CHUNK];
    side[..n].copy_from_slice(frames);
    coefs.side_chain.run(&mut state.side_chain, &mut side[..n]);
    let mut loudest: PerFrame = [0.0; CHUNK];
    for (level, frame) in loudest[..n].iter_mut().zip(&side) {
        *level = frame.iter().fold(0.0, |m: f32, x| if x.abs() > m { x.abs() } else { m });
    }
    // Linked channels share one chain as soon as their states have become the same.
    let linked = C == 1 || coefs.link == 1.0;
    let together = linked && state.ballistics.iter().all(|chain| *chain == state.ballistics[0]);
    let chains = if together { 1 } else { C };

    let mut values: [PerFrame; C] = [[0.0; CHUNK]; C];
    levels(coefs, linked, chains, &side[..n], &loudest, &mut values);
    let curve = coefs.curve;
    for values in &mut values[..chains] {
        for_each_value(&mut values[..n], |level| curve.reduction_db(level));
    }
    follow(coefs, state, together, &loudest[..n], &mut values[..chains]);
    // 1 + mix (g - 1) is exactly 1 when nothing is taken.
    let (mix, make_up) = (coefs.mix, coefs.make_up);
    for values in &mut values[..chains] {
        for_each_value(&mut values[..n], |reduction| 1.0 + mix * (fast_from_db(-reduction) * make_up - 1.0));
    }
    apply(together, &values, frames);
}

/// The level of each chain in dB of full scale: of the louder channel, or moved towards it by the link.
#[inline(always)]
fn levels<const C: usize>(
    coefs: &CompressorCoefs,
    linked: bool,
    chains: usize,
    side: &[[f32; C]],
    loudest: &PerFrame,
    values: &mut [PerFrame; C],
) {
    let n = side.len();
    let level_of = |x: f32| fast_to_db(if x > MIN_MAGNITUDE { x } else { MIN_MAGNITUDE });
    values[0] = *loudest;
    for_each_value(&mut values[0][..n], level_of);
    let louder = values[0];
    for (c, values) in values.iter_mut().enumerate().take(chains) {
        if linked {
            *values = louder;
            continue;
        }
        for (value, frame) in values[..n].iter_mut().zip(side) {
            *value = frame[c].abs();
        }
        for_each_value(&mut values[..n], level_of);
        for (own, louder) in values[..n].iter_mut().zip(louder) {
            *own += coefs.link * (louder - *own);
        }
    }
}

/// The serial part, on the clock of the crest detector: from wanted reductions to those that are given, in dB.
#[inline(always)]
fn follow<const C: usize>(
    coefs: &CompressorCoefs,
    state: &mut CompressorState<C>,
    together: bool,
    loudest: &[f32],
    values: &mut [PerFrame],
) where
    [f32; C]: Frame,
{
    let n = loudest.len();
    let mut at = 0;
    while at < n {
        let until = n.min(at + state.crest.remaining());
        let release = if coefs.auto_release { state.release.unwrap_or(coefs.release) } else { coefs.release };
        for (values, ballistics) in values.iter_mut().zip(&mut state.ballistics) {
            let mut follower = *ballistics;
            let (mut largest, mut wanted) = (0.0f64, 0.0f32);
            for value in &mut values[at..until] {
                wanted = if *value > wanted { *value } else { wanted };
                let now = follower.step(f64::from(*value), coefs.attack, release);
                largest = if now > largest { now } else { largest };
                *value = now as f32;
            }
            *ballistics = follower;
            state.above_threshold |= wanted > 0.0;
            state.max_reduction_db = if largest > state.max_reduction_db { largest } else { state.max_reduction_db };
        }
        if state.crest.push(&loudest[at..until]) {
            tick(coefs, state, together);
        }
        at = until;
    }
    if together {
        state.ballistics = [state.ballistics[0]; C];
    }
}

/// Multiplies the frames by the gains of their chains.
#[inline(always)]
fn apply<const C: usize>(together: bool, gains: &[PerFrame; C], frames: &mut [[f32; C]]) {
    if together {
        for (frame, &gain) in frames.iter_mut().zip(&gains[0]) {
            frame.iter_mut().for_each(|sample| *sample *= gain);
        }
    } else {
        for (i, frame) in frames.iter_mut().enumerate() {
            for (sample, gains) in frame.iter_mut().zip(gains) {
                *sample *= gains[i];
            }
        }
    }
}

/// Once per tick: ends releases that are over and finds the automatic release.
fn tick<const C: usize>(coefs: &CompressorCoefs, state: &mut CompressorState<C>, together: bool)
where
    [f32; C]: Frame,
{
    if !state.above_threshold {
        state.ballistics.iter_mut().for_each(SmoothDecoupled::snap);
    }
    if !together && coefs.link == 1.0 && state.ballistics.iter().all(|b| b.is_near(&state.ballistics[0])) {
        // Which channel comes first must not matter.
        state.ballistics = [state.ballistics.iter().fold(state.ballistics[0], |all, &b| all.larger(b)); C];
    }
    state.ticks_below_threshold = if state.above_threshold { 0 } else { state.ticks_below_threshold.saturating_add(1) };
    state.above_threshold = false;
    let timed_out = f64::from(state.ticks_below_threshold) * f64::from(TICK) > RELEASE_TIMEOUT_S * coefs.rate_hz;
    let shortened = if timed_out {
        MIN_RELEASE_SHARE
    } else {
        (SPEECH_CREST_SQUARED / state.crest.squared()).clamp(MIN_RELEASE_SHARE, 1.0)
    };
    state.release = Some(if coefs.auto_release && shortened < 1.0 {
        smoothing(coefs.release_ms * shortened, coefs.rate_hz, 1.0)
    } else {
        coefs.release
    });
}
