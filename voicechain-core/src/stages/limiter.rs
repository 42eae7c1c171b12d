//! Look-ahead limiter that keeps the true peak below a ceiling.
//!
//! Signal path of the gain, sample by sample:
//!
//! 1. **Detection** ([`OversampledPeak`]): inter-sample peak, maximum over all channels.
//! 2. **Demand**: excess of that peak (plus 0.03 dB, [`MARGIN_DB`]) over the ceiling, dB; 0 below the ceiling.
//! 3. **Hold** ([`PeakHold`]): maximum demand within a window.
//! 4. **Release**: the reduction first holds for 7.5 % of the release time, 6 ms at most, so that the next period of
//!    a low voice finds the gain unchanged. Then it falls exponentially in dB, never below the hold. The last 1e-3 dB
//!    are dropped. Delay and time constant together are the release time.
//! 5. **Smoothing**: two running means in series, in dB. Together they are one window of non-negative weights with
//!    sum 1.
//! 6. **Gain**: the audio is delayed until the smoothing has settled, then multiplied by the gain.
//!
//! A window of non-negative weights over a held demand never falls below that demand: P. Hämäläinen, "Smoothing of
//! the Control Signal without Clipped Output in Digital Peak Limiters", DAFx-2002. That result covers samples only.
//! Interpolation reads some 50 samples on each side of a peak. If the gain moves within them, the peak of the product
//! differs from the product of gain and peak. Therefore the gain is flat around each peak and smoothed over at least
//! 80 samples. Flat part and half the slope together reach at least 56 samples to each side, at every rate and
//! setting (see [`LimiterCoefs`]), and the detector also reads each side of a peak with a shorter window, as a gain that
//! falls there would weight it. With the look-ahead alone, 4 samples of 0.5 ms at 8 kHz, the test signals overshoot by
//! more than 2 dB.
//!
//! A ceiling that falls during processing is approached with the same smoothing. Audio in the delay line was measured
//! against the old ceiling, so the new one applies after latency and hold, less than 2 048 samples.
//!
//! # Guarantee between samples
//!
//! Measured at 16 times the rate by windowed sincs of 96, 128 and 192 taps, independent of the detector. Conditions:
//! look-ahead 0.5 ms, release 10 ms, ceilings -24 and 0 dBTP, 8 to 192 kHz, input up to 32 dB over the ceiling.
//!
//! - **Band-limited signals**, up to 20 kHz (0.4535 of the rate below 44.1 kHz): at most 0.1 dB over the ceiling;
//!   measured: none. Test `band_limited_signals_stay_within_a_tenth_of_a_decibel`.
//! - **Full-band signals**: noise, random signs, bursts, steps, impulses, alternation at half the rate with flips, and
//!   the sign sequences with the highest reading of each reference meter: at most 0.3 dB. Test
//!   `full_band_signals_stay_within_three_tenths_of_a_decibel`.
//! - **Searched signals**: full-band sequences, improved step by step with knowledge of limiter and meters at 32 times
//!   the rate, also with a second channel that moves the gain, 8 to 48 kHz: at most 0.3 dB after 50 000 steps. Measured
//!   with seed 1: 0.22 dB at 8 kHz, 0.26 dB at 16 kHz, 0.21 dB at 44.1 kHz, 0.20 dB at 48 kHz. Command, which fails above
//!   the bound: `cargo run --profile optimised -p voicechain-tests --bin limiter_search`. Shorter searches, tests
//!   `searched_sequences_exceed_the_ceiling_by_at_most_the_stated_bound` and
//!   `longer_searches_at_the_lowest_rate_stay_within_the_bound` in `standards`.
//!
//! The full-band figures hold for meters of 96 to 192 taps, not for longer ones. The interpolated peak of samples of a
//! given size grows with the number of taps that the meter reads, because content at half the rate adds up in step:
//! 10.8 dB with 192 taps, 12.0 dB with 512 (Kaiser beta 10 and 14, computed with numpy). A detector with a finite
//! look-ahead cannot see it. Such sequences have most of their energy at half the rate.
//!
//! `weaker_designs_exceed_the_limits` shows that the measurement detects weaker designs.

use crate::blank::blank;
use crate::detectors::oversampled_peak::{self, OversampledPeak};
use crate::detectors::peak_hold::PeakHold;
use crate::error::SettingError;
use crate::frame::{CHUNK, Frame};
use crate::gain::LimiterCurve;
use crate::math;
use crate::settings::LimiterSettings;
use crate::stages::{Stage, StageContext};
use crate::units::SampleRate;

mod reduction;
#[cfg(test)]
mod tests;

use reduction::{DB_PER_STEP, Reduction, RunningMean, gain_of, reduction_for};

/// Margin below the ceiling, dB: about the error of the peak detection.
pub const MARGIN_DB: f64 = 0.03;
/// Delay before the release, as a share of the release time, and its maximum, ms.
const RELEASE_DELAY: f64 = 0.075;
const MAX_RELEASE_DELAY_MS: f64 = 6.0;
/// Remaining reduction that counts as 0, dB.
const SNAP_DB: f64 = 1e-3;
/// Minimum smoothing, samples.
const MIN_SLOPE: u32 = 80;
/// Minimum of flat part plus half the slope on each side of a peak, samples.
const MIN_REACH: u32 = 56;
/// Maximum smoothing, samples: 5 ms at 192 kHz.
const MAX_SLOPE: usize = 960;
/// Maximum length of either running mean.
const MAX_MEAN: usize = MAX_SLOPE / 2 + 1;
/// Maximum block of the hold; its window is twice as long.
const MAX_HOLD: usize = (MAX_SLOPE + 10) / 2;
/// Maximum latency, samples: 5 ms of smoothing at 192 kHz without flat part.
const MAX_LATENCY: usize = oversampled_peak::LOOK_AHEAD - 1 + MAX_SLOPE;
/// Length of the delay line, a power of two above the maximum latency.
const DELAY: usize = (MAX_LATENCY + 1).next_power_of_two();
/// Clamp level of the input, 180 dB over full scale.
const MAX_MAGNITUDE: f32 = (1_u32 << 30) as f32;

/// Look-ahead true-peak limiter.
///
/// No output sample exceeds the ceiling. Between samples the output exceeds it by at most 0.1 dB for signals up to
/// 20 kHz and by at most 0.3 dB for the other signals listed in the [module](self), with evidence and limits. One gain
/// serves all channels. If no peak comes within 0.12 dB of the ceiling, the output is the delayed input bit for bit:
/// 0.03 dB are the margin, 0.09 dB the largest positive error of the detector. Test
/// `below_the_ceiling_the_output_is_the_delayed_input`.
///
/// Cost: the largest part is the interpolation. It runs only for frames near a sample that, with its curvature, can reach
/// the ceiling. Times: `cargo bench -p voicechain-benches --bench stages -- limiter`. THD of 100 Hz at 6 dB over the
/// ceiling: below 0.001 % at default times, 0.7 % at the fastest; test `low_frequencies_have_low_distortion`.
#[derive(Clone, Copy, Debug)]
pub struct Limiter;

/// Coefficients of the [`Limiter`].
///
/// The smoothing lasts `slope` samples: the look-ahead, at least 80. Around each peak the gain is flat for `flat`
/// samples on each side: 56 minus half the slope, at least 0. The latency is 54 + `flat` + `slope` samples:
///
/// | rate | look-ahead | latency |
/// |---|---|---|
/// | 8 kHz | up to 10 ms | 150 samples, 18.8 ms |
/// | 44.1 kHz | up to 1.8 ms | 150 samples, 3.4 ms |
/// | 48 kHz | up to 1.6 ms | 150 samples, 3.1 ms |
/// | 48 kHz | 5 ms | 294 samples, 6.1 ms |
/// | 96 kHz | 0.5 ms | 150 samples, 1.6 ms |
/// | 192 kHz | 0.5 ms | 158 samples, 0.8 ms |
/// | 192 kHz | 5 ms | 1 014 samples, 5.3 ms |
///
/// Test `latency_matches_the_delay_of_an_impulse`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterCoefs {
    /// Maximum output sample, linear, rounded down.
    ceiling: f32,
    /// Detector level above which the gain falls, linear.
    threshold: f32,
    /// `1 / threshold`.
    inverse_threshold: f32,
    /// Share of the reduction that remains after one sample of release.
    release_coefficient: f64,
    /// Delay before the release, samples.
    release_delay: u32,
    slope: u32,
    flat: u32,
}

blank! { LimiterCoefs { ceiling, threshold, inverse_threshold, release_coefficient, release_delay, slope, flat } }

impl LimiterCoefs {
    fn latency(&self) -> u32 {
        oversampled_peak::LOOK_AHEAD as u32 - 1 + self.flat + self.slope
    }

    /// Length of the hold: smoothing, flat part on both sides, and one frame of the detector.
    fn window(&self) -> u32 {
        self.slope + 2 * self.flat + 1
    }

    /// True when all coefficients are finite and the release decays.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { ceiling, threshold, inverse_threshold, release_coefficient, release_delay: _, slope, flat: _ } =
            self;
        [ceiling, threshold, inverse_threshold].iter().all(|level| level.is_finite() && **level > 0.0)
            && (0.0..1.0).contains(release_coefficient)
            && *slope > 0
    }

    /// Maximum output sample, linear.
    #[must_use]
    pub fn ceiling(&self) -> f32 {
        self.ceiling
    }

    /// Static gain in dB, 0 or negative, at a true peak of `level_db` dBTP.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        LimiterCurve::new(math::to_db(f64::from(self.threshold)), 0.0).gain_db(level_db)
    }
}

/// State of a [`Limiter`]: about 20 KiB in stereo, 16 KiB in mono.
#[derive(Clone, Debug)]
pub struct LimiterState<const C: usize> {
    detector: OversampledPeak<C>,
    smoother: GainSmoother,
    delay: [[f32; C]; DELAY],
    /// Write position of the delay line.
    at: usize,
    /// Highest ceiling that audio in the delay line was measured against.
    clamp: f32,
    /// Samples until `clamp` becomes the current ceiling.
    clamp_for: u32,
    /// Current ceiling.
    ceiling: f32,
    /// Largest applied reduction since the last read.
    largest: Reduction,
    limiting_events: u64,
}

blank! {
    [const C: usize] LimiterState<C> {
        detector, smoother, delay, at, clamp, clamp_for, ceiling, largest, limiting_events,
    }
}

impl<const C: usize> LimiterState<C> {
    /// Number of limiting events since reset. An event lasts until the demand has been 0 for the length of the hold.
    #[must_use]
    pub fn limiting_events(&self) -> u64 {
        self.limiting_events
    }

    /// Advances the transition to the current ceiling by `count` frames.
    fn pass_clamp(&mut self, count: usize) {
        self.clamp_for = self.clamp_for.saturating_sub(count as u32);
        if self.clamp_for == 0 {
            self.clamp = self.ceiling;
        }
    }
}

/// Hold, release and smoothing: from demand to smoothed reduction.
#[derive(Clone, Debug)]
struct GainSmoother {
    slope: u32,
    flat: u32,
    hold: PeakHold<Reduction, MAX_HOLD>,
    held: bool,
    /// Reduction after the release, in steps of a [`Reduction`].
    released: f64,
    /// Samples until the release starts.
    release_delay_remaining: u32,
    means: [RunningMean<MAX_MEAN>; 2],
    /// Samples until all states are 0.
    busy: u32,
}

blank! { GainSmoother { slope, flat, hold, held, released, release_delay_remaining, means, busy } }

impl GainSmoother {
    fn new(slope: u32, flat: u32) -> Self {
        let first = slope.div_ceil(2) as usize;
        Self {
            slope,
            flat,
            hold: PeakHold::new((slope + 2 * flat + 1) as usize, 0),
            held: false,
            released: 0.0,
            release_delay_remaining: 0,
            means: [RunningMean::new(first), RunningMean::new(slope as usize + 1 - first)],
            busy: 0,
        }
    }

    /// Turns demands into smoothed reductions, in place. Returns the number of limiting events that start.
    fn run(&mut self, coefs: &LimiterCoefs, demands: &mut [Reduction]) -> u64 {
        const SNAP: f64 = SNAP_DB / DB_PER_STEP;
        let quiet_after = self.hold.window() as u32 + coefs.slope + 2;
        let mut begun = 0;
        for demand in demands {
            let held = self.hold.push(*demand);
            begun += u64::from(held > 0 && !self.held);
            self.held = held > 0;
            let held = f64::from(held);
            let mut released = self.released;
            if held >= released {
                released = held;
                self.release_delay_remaining = coefs.release_delay;
            } else if self.release_delay_remaining > 0 {
                self.release_delay_remaining -= 1;
            } else {
                released *= coefs.release_coefficient;
                released = if released < SNAP { 0.0 } else { released };
                released = if released > held { released } else { held };
            }
            self.released = released;
            self.busy = if released > 0.0 { quiet_after } else { self.busy.saturating_sub(1) };
            let first = self.means[0].push(released as i32 as u32);
            *demand = self.means[1].push(first);
        }
        begun
    }
}

impl<const C: usize> Stage<C> for Limiter
where
    [f32; C]: Frame,
{
    type Settings = LimiterSettings;
    type Coefs = LimiterCoefs;
    type State = LimiterState<C>;

    fn design(settings: &LimiterSettings, rate: SampleRate) -> Result<LimiterCoefs, SettingError> {
        settings.check()?;
        let exact = math::from_db(settings.ceiling_dbtp);
        let mut ceiling = exact as f32;
        if f64::from(ceiling) > exact {
            ceiling = f32::from_bits(ceiling.to_bits() - 1);
        }
        let threshold = math::from_db(settings.ceiling_dbtp - MARGIN_DB) as f32;
        let slope = rate.samples(settings.look_ahead_ms).clamp(MIN_SLOPE, MAX_SLOPE as u32);
        let flat = MIN_REACH.saturating_sub(slope / 2);
        let release_delay_ms = (RELEASE_DELAY * settings.release_ms).min(MAX_RELEASE_DELAY_MS);
        let fall = (settings.release_ms - release_delay_ms) * 1e-3 * rate.hz();
        Ok(LimiterCoefs {
            ceiling,
            threshold,
            inverse_threshold: 1.0 / threshold,
            release_coefficient: libm::exp(-1.0 / fall),
            release_delay: rate.samples(release_delay_ms),
            slope,
            flat,
        })
    }

    fn clear(state: &mut LimiterState<C>, _rate: SampleRate) {
        *state = LimiterState {
            detector: OversampledPeak::new(),
            smoother: GainSmoother::new(MIN_SLOPE, MIN_REACH - MIN_SLOPE / 2),
            delay: [[0.0; C]; DELAY],
            at: 0,
            clamp: 0.0,
            clamp_for: 0,
            ceiling: 0.0,
            largest: 0,
            limiting_events: 0,
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        Self::run_with_bypass(context, frames, &mut []);
    }

    const MAX_LATENCY: usize = MAX_LATENCY;
    const HAS_GAIN_REDUCTION: bool = true;

    const BYPASS_KEEPS_STATE: bool = true;

    fn run_with_bypass(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]], bypassed: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        let mut bypassed = bypassed.chunks_mut(CHUNK);
        for piece in frames.chunks_mut(CHUNK) {
            let mut reductions = [0; CHUNK];
            let active = detect_and_delay(coefs, state, piece, &mut reductions, true);
            if let Some(copy) = bypassed.next() {
                for (to, from) in copy.iter_mut().zip(piece.iter()) {
                    *to = *from;
                }
            }
            apply_gain(state, piece, &reductions, active);
        }
    }

    /// Detector, hold and smoothing run as in [`Stage::run`], so that the limiter can fade in at any frame. Reductions
    /// and limiting events are not reported.
    fn run_bypassed(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        for piece in frames.chunks_mut(CHUNK) {
            let mut reductions = [0; CHUNK];
            detect_and_delay(coefs, state, piece, &mut reductions, false);
            state.pass_clamp(piece.len());
        }
    }

    /// Ceiling and release move. The look-ahead of `to` applies at once.
    fn interpolated(from: &LimiterCoefs, to: &LimiterCoefs, t: f64) -> LimiterCoefs {
        let mix = |a: f32, b: f32| a + (b - a) * t as f32;
        let threshold = mix(from.threshold, to.threshold);
        LimiterCoefs {
            ceiling: mix(from.ceiling, to.ceiling),
            threshold,
            inverse_threshold: 1.0 / threshold,
            release_coefficient: from.release_coefficient + (to.release_coefficient - from.release_coefficient) * t,
            ..*to
        }
    }

    /// 54 samples of detection, then the flat part and the slope of the gain. It is the same on or off.
    fn latency(coefs: &LimiterCoefs) -> u32 {
        coefs.latency()
    }

    /// The latency alone.
    fn tail(coefs: &LimiterCoefs) -> u32 {
        coefs.latency()
    }

    fn is_stable(coefs: &LimiterCoefs) -> bool {
        coefs.is_stable()
    }

    fn gain_db(coefs: &LimiterCoefs, level_db: f64) -> f64 {
        coefs.gain_db(level_db)
    }

    fn take_reduction_db(state: &mut LimiterState<C>) -> f64 {
        f64::from(core::mem::take(&mut state.largest)) * DB_PER_STEP
    }
}

/// Computes the reductions and delays the frames of one chunk. Returns false if all reductions are 0.
fn detect_and_delay<const C: usize>(
    coefs: &LimiterCoefs,
    state: &mut LimiterState<C>,
    frames: &mut [[f32; C]],
    reductions: &mut [Reduction; CHUNK],
    count_limiting_events: bool,
) -> bool {
    let count = frames.len();
    let other_look_ahead = (state.smoother.slope, state.smoother.flat) != (coefs.slope, coefs.flat);
    if other_look_ahead {
        state.smoother = GainSmoother::new(coefs.slope, coefs.flat);
    }
    // The delay line holds audio measured for another ceiling or look-ahead: clamp until it has left.
    if other_look_ahead || coefs.ceiling != state.ceiling {
        state.clamp = state.clamp.max(coefs.ceiling);
        state.clamp_for = coefs.latency() + coefs.window();
        state.ceiling = coefs.ceiling;
    }
    for sample in frames.as_flattened_mut() {
        let x = *sample;
        let x = if x > MAX_MAGNITUDE { MAX_MAGNITUDE } else { x };
        *sample = if x < -MAX_MAGNITUDE { -MAX_MAGNITUDE } else { x };
    }
    let mut peaks = [0.0; CHUNK];
    let reached = state.detector.push(frames, coefs.threshold, &mut peaks);
    let active = reached || state.smoother.busy > 0;
    if reached {
        for (reduction, peak) in reductions.iter_mut().zip(&peaks) {
            *reduction = reduction_for(peak * coefs.inverse_threshold);
        }
    }
    if active {
        let begun = state.smoother.run(coefs, &mut reductions[..count]);
        if count_limiting_events {
            state.limiting_events += begun;
        }
    }
    let latency = coefs.latency() as usize;
    let mut at = state.at;
    for frame in frames.iter_mut() {
        state.delay[at % DELAY] = *frame;
        *frame = state.delay[(at + DELAY - latency) % DELAY];
        at += 1;
    }
    state.at = at % DELAY;
    active
}

/// Applies the reductions to the delayed frames of one chunk.
fn apply_gain<const C: usize>(
    state: &mut LimiterState<C>,
    frames: &mut [[f32; C]],
    reductions: &[Reduction; CHUNK],
    active: bool,
) {
    if active || state.clamp_for > 0 {
        let mut gains = [1.0; CHUNK];
        for (gain, &reduction) in gains.iter_mut().zip(&reductions[..frames.len()]) {
            *gain = gain_of(reduction);
            state.largest = state.largest.max(reduction);
        }
        let steady = state.clamp_for == 0;
        for (frame, gain) in frames.iter_mut().zip(&gains) {
            let clamp = state.clamp;
            for sample in frame {
                let x = *sample * gain;
                let x = if x > clamp { clamp } else { x };
                *sample = if x < -clamp { -clamp } else { x };
            }
            if !steady {
                state.pass_clamp(1);
            }
        }
    }
}
