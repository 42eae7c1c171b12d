//! The de-esser: attenuates sibilants that are too strong relative to vowels.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::detectors::sibilance::SibilanceBands;
use crate::detectors::{Sibilance, TICK};
use crate::error::SettingError;
use crate::filters::cascade::{advance_state_variable, step_state_variable};
use crate::filters::design::{BUTTERWORTH_Q, fits, low_pass};
use crate::filters::{Cascade, Ramp, Response, Section, StateVariable};
use crate::frame::{Frame, Lanes};
use crate::gain::{RangeLimitedCurve, SmoothBranching};
use crate::math::{fast_from_db, for_each_value, smoothing};
use crate::settings::{DeEsserMode, DeEsserSettings};
use crate::units::SampleRate;

/// De-esser driven by the ratio of sibilant to voiced band.
///
/// - **Detector**: level of the 4 to 10 kHz band relative to the voiced band, so quiet and loud sibilants are treated
///   alike.
/// - **Gain computer**: attenuates the excess over the threshold, up to the range, with smooth branching ballistics.
/// - **Split-band mode**: a shelf around the set frequency `f0` with `|H|^2 = (1 + g^2 x^4) / (1 + x^4)`, `x = f/f0`
///   and gain `g` above it, so attenuation never exceeds the range. It is computed as
///   `y = x - (1 - g)(x - low) + k (sqrt(g) - g) band`, with the second-order Butterworth low-pass and band-pass
///   outputs of one state-variable filter and its damping `k`. The filter does not move with the gain: every gain is
///   stable, and `g = 1` returns the input bit for bit.
/// - **Wideband mode**: `y = g x`.
///
/// One gain for all channels. Latency 0. Bypassed when `f0` exceeds 0.45 of the sample rate. Tested by
/// `de_esser_attenuates_sibilants_only`.
#[derive(Clone, Copy, Debug)]
pub struct DeEsser;

/// Width of the knee around the threshold, dB (common practice, no source).
const KNEE_DB: f64 = 6.0;

/// Coefficients of the [`DeEsser`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeEsserCoefs {
    bands: Option<SibilanceBands>,
    curve: RangeLimitedCurve<f32>,
    exact_curve: RangeLimitedCurve<f64>,
    split: StateVariable,
    split_section: Section,
    attack: f64,
    release: f64,
    /// 1 in split-band mode, 0 in wideband mode, in between during a transition.
    split_band: f32,
    threshold_db: f64,
    range_db: f64,
    rate_hz: f64,
}

blank! {
    DeEsserCoefs {
        bands, curve, exact_curve, split, split_section, attack, release, split_band, threshold_db, range_db, rate_hz,
    }
}

impl DeEsserCoefs {
    fn new(s: &DeEsserSettings, rate: SampleRate) -> Self {
        let split_section = low_pass(s.frequency_hz, BUTTERWORTH_Q, rate);
        let bands = if fits(s.frequency_hz, rate) { SibilanceBands::new(rate) } else { None };
        let split = if bands.is_some() {
            split_section.state_variable()
        } else {
            StateVariable { g: 1.0, k: 1.0, m0: 1.0, m1: 0.0, m2: 0.0 }
        };
        Self {
            bands,
            curve: RangeLimitedCurve::new(s.threshold_db, s.range_db, KNEE_DB),
            exact_curve: RangeLimitedCurve::new(s.threshold_db, s.range_db, KNEE_DB),
            split,
            split_section,
            attack: smoothing(s.attack_ms, rate.hz(), 1.0),
            release: smoothing(s.release_ms, rate.hz(), 1.0),
            split_band: if s.mode == DeEsserMode::SplitBand { 1.0 } else { 0.0 },
            threshold_db: s.threshold_db,
            range_db: s.range_db,
            rate_hz: rate.hz(),
        }
    }

    /// True when the sample rate is too low for the band.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.bands.is_none()
    }

    /// True when all coefficients are finite, the smoothing coefficients are in range, and the filters are stable.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self {
            bands,
            curve,
            exact_curve,
            split,
            split_section,
            attack,
            release,
            split_band,
            threshold_db,
            range_db,
            rate_hz,
        } = self;
        bands.is_none_or(|bands| bands.is_stable())
            && curve.is_finite()
            && exact_curve.is_finite()
            && split.is_stable()
            && split_section.is_stable()
            && [attack, release].iter().all(|kept| (0.0..1.0).contains(*kept))
            && (0.0..=1.0).contains(split_band)
            && [threshold_db, range_db, rate_hz].iter().all(|value| value.is_finite())
    }

    /// Response of the sibilant detector band; unity when the stage is bypassed.
    #[must_use]
    pub fn detector_response(&self, frequency_hz: f64) -> Response {
        let omega = 2.0 * core::f64::consts::PI * frequency_hz / self.rate_hz;
        self.bands.map_or(Response::ONE, |bands| bands.sibilant_response(omega))
    }

    /// Response at `frequency_hz` during a gain reduction of `reduction_db`.
    #[must_use]
    pub fn response_at(&self, frequency_hz: f64, reduction_db: f64) -> Response {
        let cut = 1.0 - crate::math::from_db(-reduction_db);
        if self.is_idle() {
            return Response::ONE;
        }
        if self.split_band < 0.5 {
            return Response::ONE.scaled(1.0 - cut);
        }
        // Integrators of the split filter: s = j tan(pi f / rate) / g, band = s low.
        let omega = 2.0 * core::f64::consts::PI * frequency_hz / self.rate_hz;
        let low = self.split_section.response(omega);
        let s = libm::tan(0.5 * omega) / self.split.g;
        let back = self.split.k * (crate::math::from_db(-0.5 * reduction_db) - crate::math::from_db(-reduction_db));
        Response { re: 1.0 - cut * (1.0 - low.re) - back * s * low.im, im: cut * low.im + back * s * low.re }
    }

    /// Static gain of the attenuated band, dB, at a steady ratio of sibilant to voiced band in dB.
    #[must_use]
    pub fn gain_db(&self, level_db: f64) -> f64 {
        if self.is_idle() { 0.0 } else { self.exact_curve.gain_db(level_db) }
    }
}

/// State of a [`DeEsser`].
#[derive(Clone, Copy, Debug)]
pub struct DeEsserState<const C: usize>
where
    [f32; C]: Frame,
{
    sibilance: Sibilance<C>,
    split: [<[f32; C] as Frame>::Lanes; 2],
    /// Target reduction until the next tick.
    target_reduction_db: f64,
    ballistics: SmoothBranching,
    max_reduction_db: f64,
}

blank! {
    [const C: usize] DeEsserState<C> where [f32; C]: Frame {
        sibilance, split, target_reduction_db, ballistics, max_reduction_db,
    }
}

impl<const C: usize> DeEsserState<C>
where
    [f32; C]: Frame,
{
    /// Current ratio of sibilant to voiced band, dB.
    #[must_use]
    pub fn ratio_db(&self) -> f32 {
        self.sibilance.ratio_db()
    }
}

impl<const C: usize> Stage<C> for DeEsser
where
    [f32; C]: Frame,
{
    type Settings = DeEsserSettings;
    type Coefs = DeEsserCoefs;
    type State = DeEsserState<C>;

    fn design(settings: &DeEsserSettings, rate: SampleRate) -> Result<DeEsserCoefs, SettingError> {
        settings.check()?;
        Ok(DeEsserCoefs::new(settings, rate))
    }

    fn clear(state: &mut DeEsserState<C>, rate: SampleRate) {
        *state = DeEsserState {
            sibilance: Sibilance::new(rate),
            split: [Lanes::splat(0.0); 2],
            target_reduction_db: 0.0,
            ballistics: SmoothBranching::default(),
            max_reduction_db: 0.0,
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, mut step } = context;
        let Some(bands) = &coefs.bands else { return };
        let mut rest = frames;
        while !rest.is_empty() {
            let (now, later) = rest.split_at_mut(rest.len().min(state.sibilance.remaining()));
            let n = now.len() as u32;
            run_segment(coefs, step, bands, state, now);
            if let Some((_, ramp)) = &mut step {
                ramp.at += n;
            }
            rest = later;
        }
    }

    const HAS_GAIN_REDUCTION: bool = true;

    fn interpolated(from: &DeEsserCoefs, to: &DeEsserCoefs, t: f64) -> DeEsserCoefs {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        let (threshold_db, range_db) = (mix(from.threshold_db, to.threshold_db), mix(from.range_db, to.range_db));
        DeEsserCoefs {
            curve: RangeLimitedCurve::new(threshold_db, range_db, KNEE_DB),
            exact_curve: RangeLimitedCurve::new(threshold_db, range_db, KNEE_DB),
            split: from.split.interpolated(&to.split, t),
            attack: mix(from.attack, to.attack),
            release: mix(from.release, to.release),
            split_band: from.split_band + (to.split_band - from.split_band) * t as f32,
            threshold_db,
            range_db,
            ..*to
        }
    }

    fn is_idle(coefs: &DeEsserCoefs) -> bool {
        coefs.is_idle()
    }

    fn tail(coefs: &DeEsserCoefs) -> u32 {
        if coefs.is_idle() { 0 } else { Cascade::new([coefs.split_section]).tail() }
    }

    fn is_stable(coefs: &DeEsserCoefs) -> bool {
        coefs.is_stable()
    }

    fn gain_db(coefs: &DeEsserCoefs, level_db: f64) -> f64 {
        coefs.gain_db(level_db)
    }

    fn take_reduction_db(state: &mut DeEsserState<C>) -> f64 {
        core::mem::take(&mut state.max_reduction_db)
    }
}

/// Processes frames up to the next tick. The target reduction is constant within a segment.
fn run_segment<const C: usize>(
    coefs: &DeEsserCoefs,
    step: Option<(&DeEsserCoefs, Ramp)>,
    bands: &SibilanceBands,
    state: &mut DeEsserState<C>,
    frames: &mut [[f32; C]],
) where
    [f32; C]: Frame,
{
    const MAX_FRAMES: usize = TICK as usize;
    let n = frames.len();
    let ticked = state.sibilance.run(bands, frames);
    let mut split = state.split;

    if state.target_reduction_db > 0.0 || state.ballistics.reduction_db() > 0.0 {
        let mut roots = [0.0f32; MAX_FRAMES];
        for root in &mut roots[..n] {
            let now = state.ballistics.step(state.target_reduction_db, coefs.attack, coefs.release);
            state.max_reduction_db = if now > state.max_reduction_db { now } else { state.max_reduction_db };
            *root = now as f32;
        }
        for_each_value(&mut roots, |reduction| fast_from_db(-0.5 * reduction));
        match step {
            Some((from, ramp)) => {
                for ((frame, &root), t) in frames.iter_mut().zip(&roots).zip(ramp.values(0.0, 1.0)) {
                    let now = from.split.interpolated(&coefs.split, f64::from(t));
                    let split_band = from.split_band + t * (coefs.split_band - from.split_band);
                    attenuate(&now, split_band, &mut split, frame, root);
                }
            }
            None => {
                for (frame, &root) in frames.iter_mut().zip(&roots) {
                    attenuate(&coefs.split, coefs.split_band, &mut split, frame, root);
                }
            }
        }
    } else {
        // Inaudible: the split filter may move from step to step.
        for frame in frames.iter() {
            advance_state_variable(&coefs.split, &mut split, frame.widen());
        }
    }
    state.split = split;
    if ticked {
        state.split = state.split.map(|s| s.flush_denormals());
        state.target_reduction_db = f64::from(coefs.curve.reduction_db(state.sibilance.ratio_db()));
        if state.target_reduction_db == 0.0 {
            state.ballistics.snap();
        }
    }
}

/// Attenuates the sibilant band of one frame by the square of `root`.
#[inline(always)]
fn attenuate<const C: usize>(
    split: &StateVariable,
    split_band: f32,
    states: &mut [<[f32; C] as Frame>::Lanes; 2],
    frame: &mut [f32; C],
    root: f32,
) where
    [f32; C]: Frame,
{
    let before = states[0];
    let low: [f32; C] = Frame::narrow(step_state_variable(split, states, frame.widen()));
    // The first state moves from s to 2 band - s.
    let half_damping: <[f32; C] as Frame>::Lanes = Lanes::splat(0.5 * split.k);
    let band: [f32; C] = Frame::narrow(half_damping * (before + states[0]));
    if root != 1.0 {
        let gain = root * root;
        for ((sample, low), band) in frame.iter_mut().zip(low).zip(band) {
            let back = split_band * (root - gain) * band;
            *sample += back - (1.0 - gain) * (*sample - split_band * low);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    every_number_is_checked! {
        DeEsser,
        DeEsserSettings::default(),
        curve = RangeLimitedCurve::new(f64::NAN, 6.0, 3.0),
        exact_curve = RangeLimitedCurve::new(0.0, f64::NAN, 3.0),
        split.g = 0.0,
        split.k = -1.0,
        split.m0 = f64::NAN,
        split.m1 = f64::NAN,
        split.m2 = f64::NAN,
        split_section.a2 = 1.0,
        attack = f64::NAN,
        release = f64::NAN,
        split_band = f32::NAN,
        threshold_db = f64::NAN,
        range_db = f64::NAN,
        rate_hz = f64::NAN,
    }
}
