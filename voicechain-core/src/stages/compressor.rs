//! The compressor: feed-forward in the log domain, with soft knee and smooth decoupled ballistics.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::detectors::{CrestFactor, TICK};
use crate::error::SettingError;
use crate::filters::design::{BUTTERWORTH_Q, high_pass};
use crate::filters::{Cascade, CascadeState, Ramp};
use crate::frame::{CHUNK, Frame};
use crate::gain::{CompressorCurve, SmoothDecoupled};
use crate::math::{fast_from_db, fast_to_db, for_each_value, from_db, smoothing, to_db};
use crate::settings::{CompressorSettings, MakeUp};
use crate::units::SampleRate;

/// Feed-forward compressor with soft knee.
///
/// - **Detector**: `|x|` per sample after the side-chain high-pass (second-order Butterworth).
/// - **Gain computer**: static curve with soft knee and smooth decoupled ballistics, both in the log domain. Source:
///   Giannoulis, Massberg, Reiss, "Digital Dynamic Range Compressor Design", JAES 60(6), 2012.
/// - **Auto release**: the set release time is the longest. When the crest factor of the last 200 ms exceeds 10 dB,
///   that of steady speech, the release time is the set time divided by the excess as a power ratio, but at least a
///   quarter of the set time. After 0.25 s without demand for gain reduction it is that quarter.
/// - **Make-up**: manual, or half of the static gain reduction at -7 dBFS.
/// - **Mix**: blends compressed and uncompressed signal, make-up included in the compressed one. The gain reduction
///   that is metered is that of the mix, without make-up.
/// - **Stereo link**: at 100 % the louder channel drives both; at 0 % each channel drives itself.
///
/// Latency 0, tail 0: ringing of the side chain does not reach the output. Without gain reduction and with 0 dB
/// make-up the output is the input bit for bit. Tested by `compressor_follows_its_static_curve_and_time_constants`.
#[derive(Clone, Copy, Debug)]
pub struct Compressor;

/// Squared crest factor of steady speech over 200 ms, about 10 dB. Larger values count as transients (common
/// practice, no source).
const SPEECH_CREST_SQUARED: f64 = 10.0;
/// Shortest automatic release, as a fraction of the set release.
const MIN_RELEASE_SHARE: f64 = 0.25;
/// Time without demand for gain reduction, s, after which the automatic release is at its shortest: the remaining
/// reduction belongs to a past sound (common practice, no source).
const RELEASE_TIMEOUT_S: f64 = 0.25;
/// Peak level of a voice at working level, dBFS. Automatic make-up restores half of the static gain reduction at this
/// level. Chosen on two recorded voices: the compressor of the spoken starting points changes their loudness by less
/// than 1 LU (tests/programs/real_speech.rs).
const MAKE_UP_LEVEL_DB: f64 = -7.0;
/// Smallest detected amplitude, -140 dBFS. Lower amplitudes are raised to it.
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

blank! {
    CompressorCoefs {
        curve, exact_curve, side_chain, attack, release, release_ms, rate_hz, auto_release, make_up, mix, link,
        threshold_db, ratio, knee_db, attack_ms,
    }
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

    /// Make-up gain in dB, manual or automatic.
    #[must_use]
    pub fn make_up_db(&self) -> f64 {
        to_db(f64::from(self.make_up))
    }

    /// Gain reduction of the output, dB, at a gain reduction of the compressed signal: the output with it relative to
    /// the output without it, `((1 - mix) + mix m) / ((1 - mix) + mix m g)` with the make-up gain `m` and the gain `g`.
    /// Tested by `gain_reduction_meter_reads_the_mixed_signal`.
    #[must_use]
    pub fn mixed_reduction_db(&self, reduction_db: f64) -> f64 {
        if self.mix == 1.0 {
            return reduction_db;
        }
        let (mix, make_up) = (f64::from(self.mix), f64::from(self.make_up));
        let gain = |compressed: f64| 1.0 + mix * (compressed - 1.0);
        to_db(gain(make_up) / gain(make_up * from_db(-reduction_db)))
    }

    /// True when all coefficients are finite, the shares and smoothing coefficients are in range, and the side chain is
    /// stable.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self {
            curve,
            exact_curve,
            side_chain,
            attack,
            release,
            release_ms,
            rate_hz,
            auto_release: _,
            make_up,
            mix,
            link,
            threshold_db,
            ratio,
            knee_db,
            attack_ms,
        } = self;
        let times_and_levels = [release_ms, rate_hz, threshold_db, knee_db, attack_ms];
        side_chain.is_stable()
            && curve.is_finite()
            && exact_curve.is_finite()
            && [attack, release].iter().all(|kept| (0.0..1.0).contains(*kept))
            && [mix, link].iter().all(|share| (0.0..=1.0).contains(*share))
            && make_up.is_finite()
            && times_and_levels.iter().all(|value| value.is_finite())
            && *ratio >= 1.0
    }

    /// Static gain in dB at a peak level in dBFS, without make-up and mix.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        self.exact_curve.gain_db(level_db)
    }
}

/// State of a [`Compressor`]: side-chain filter, ballistics and crest-factor detector.
#[derive(Clone, Copy, Debug)]
pub struct CompressorState<const C: usize>
where
    [f32; C]: Frame,
{
    side_chain: CascadeState<C, 1>,
    ballistics: [SmoothDecoupled; C],
    crest: CrestFactor,
    /// Automatic release coefficient, updated once per tick; `None` before the first tick.
    release: Option<f64>,
    above_threshold: bool,
    /// Ticks since the last demand for gain reduction.
    ticks_below_threshold: u32,
    max_reduction_db: f64,
}

blank! {
    [const C: usize] CompressorState<C> where [f32; C]: Frame {
        side_chain, ballistics, crest, release, above_threshold, ticks_below_threshold, max_reduction_db,
    }
}

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

    fn clear(state: &mut CompressorState<C>, rate: SampleRate) {
        *state = CompressorState {
            side_chain: CascadeState::new(),
            ballistics: [SmoothDecoupled::default(); C],
            crest: CrestFactor::new(rate),
            release: None,
            above_threshold: false,
            ticks_below_threshold: 0,
            max_reduction_db: 0.0,
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let mut step = context.step;
        for chunk in frames.chunks_mut(CHUNK) {
            run_chunk(context.coefs, step, context.state, chunk);
            if let Some((_, ramp)) = &mut step {
                ramp.at += chunk.len() as u32;
            }
        }
    }

    const HAS_GAIN_REDUCTION: bool = true;

    fn interpolated(from: &CompressorCoefs, to: &CompressorCoefs, t: f64) -> CompressorCoefs {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        let mix32 = |a: f32, b: f32| a + (b - a) * t as f32;
        // Interpolates `1/ratio`, so that an infinite ratio is reachable.
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

/// One value per frame of a chunk.
type PerFrame = [f32; CHUNK];

/// Processes at most one chunk: detector level, target gain reduction, ballistics, gain.
fn run_chunk<const C: usize>(
    coefs: &CompressorCoefs,
    step: Option<(&CompressorCoefs, Ramp)>,
    state: &mut CompressorState<C>,
    frames: &mut [[f32; C]],
) where
    [f32; C]: Frame,
{
    let n = frames.len();
    let mut side = [[0.0; C]; CHUNK];
    side[..n].copy_from_slice(frames);
    match step {
        Some((from, ramp)) => {
            coefs.side_chain.run_step(&from.side_chain, ramp, &mut state.side_chain, &mut side[..n]);
        }
        None => coefs.side_chain.run(&mut state.side_chain, &mut side[..n]),
    }
    let mut loudest: PerFrame = [0.0; CHUNK];
    for (level, frame) in loudest[..n].iter_mut().zip(&side) {
        *level = frame.iter().fold(0.0, |m: f32, x| if x.abs() > m { x.abs() } else { m });
    }
    // Linked channels share one chain once their states are equal.
    let linked = C == 1 || coefs.link == 1.0;
    let together = linked && state.ballistics.iter().all(|chain| *chain == state.ballistics[0]);
    let chains = if together { 1 } else { C };

    let mut values: [PerFrame; C] = [[0.0; CHUNK]; C];
    levels(coefs, linked, chains, &side[..n], &loudest, &mut values);
    let curve = coefs.curve;
    for values in &mut values[..chains] {
        match step {
            Some((from, ramp)) => {
                for (value, t) in values[..n].iter_mut().zip(ramp.values(0.0, 1.0)) {
                    let before = from.curve.reduction_db(*value);
                    *value = before + t * (curve.reduction_db(*value) - before);
                }
            }
            None => for_each_value(&mut values[..n], |level| curve.reduction_db(level)),
        }
    }
    follow(coefs, state, together, &loudest[..n], &mut values[..chains]);
    // Without reduction and make-up the gain is exactly 1.
    let (mix, make_up) = (coefs.mix, coefs.make_up);
    for values in &mut values[..chains] {
        match step {
            Some((from, ramp)) => {
                let moving = ramp.values(from.mix, mix).zip(ramp.values(from.make_up, make_up));
                for (value, (mix, make_up)) in values[..n].iter_mut().zip(moving) {
                    *value = 1.0 + mix * (fast_from_db(-*value) * make_up - 1.0);
                }
            }
            None => {
                for_each_value(&mut values[..n], |reduction| 1.0 + mix * (fast_from_db(-reduction) * make_up - 1.0))
            }
        }
    }
    apply(together, &values, frames);
}

/// Level of each chain in dBFS: that of the louder channel, or moved towards it by the stereo link.
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

/// Applies the ballistics sample by sample, on the clock of the crest detector: from target to actual gain reduction,
/// dB.
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
            let (mut largest, mut target) = (0.0f64, 0.0f32);
            for value in &mut values[at..until] {
                target = if *value > target { *value } else { target };
                let now = follower.step(f64::from(*value), coefs.attack, release);
                largest = if now > largest { now } else { largest };
                *value = now as f32;
            }
            *ballistics = follower;
            state.above_threshold |= target > 0.0;
            let largest = coefs.mixed_reduction_db(largest);
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

/// Ends completed releases and updates the automatic release, once per tick.
fn tick<const C: usize>(coefs: &CompressorCoefs, state: &mut CompressorState<C>, together: bool)
where
    [f32; C]: Frame,
{
    if !state.above_threshold {
        state.ballistics.iter_mut().for_each(SmoothDecoupled::snap);
    }
    if !together && coefs.link == 1.0 && state.ballistics.iter().all(|b| b.is_near(&state.ballistics[0])) {
        // The result must not depend on the order of the channels.
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filters::Section;

    every_number_is_checked! {
        Compressor,
        CompressorSettings::default(),
        curve = CompressorCurve::new(f64::NAN, 2.0, 6.0),
        curve = CompressorCurve::new(-20.0, f64::NAN, 6.0),
        curve = CompressorCurve::new(-20.0, 2.0, f64::INFINITY),
        exact_curve = CompressorCurve::new(f64::NAN, 2.0, 6.0),
        side_chain = Cascade::new([Section { b0: f64::NAN, ..Section::IDENTITY }]),
        attack = 1.0,
        attack = f64::NAN,
        release = f64::NAN,
        release_ms = f64::NAN,
        rate_hz = f64::NAN,
        make_up = f32::INFINITY,
        mix = 1.5,
        mix = f32::NAN,
        link = f32::NAN,
        threshold_db = f64::NAN,
        ratio = 0.5,
        ratio = f64::NAN,
        knee_db = f64::NAN,
        attack_ms = f64::NAN,
    }
}
