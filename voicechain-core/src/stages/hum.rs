//! The hum stage: removes mains hum and its harmonics, and preserves a voice that crosses them.

use super::{Stage, StageContext};
use crate::blank::blank;
use crate::dsp::Complex4;
use crate::error::SettingError;
use crate::filters::Response;
use crate::frame::Frame;
use crate::math::{from_db, power_to_db};
use crate::settings::{HumSettings, Mains};
use crate::units::SampleRate;
use wide::f32x4;

mod harmonics;
#[cfg(test)]
mod tests;

pub use harmonics::MAX_HARMONICS;
use harmonics::{Harmonics, PhaseIncrements, VECTORS, accumulate};

/// Seconds at the start of a recording that [`Strip::analyse_ahead`](crate::Strip::analyse_ahead) analyses for hum.
/// Amplitudes forget within a second, the frequency gains from a longer analysis, and ten seconds of speech contain
/// pauses.
pub(crate) const ANALYSED_AHEAD_S: f64 = 10.0;

/// Linear segments per period for the amplitudes.
const PARTS: u32 = 4;
/// Stated tail, periods of the nominal mains frequency. Subtraction lasts at most three tracked periods: the one in
/// which the hum stops, one without hum, and one that fades out. A tracked period is up to 1 % longer than a nominal
/// one, and rounded to whole samples.
const TAIL_PERIODS: f64 = 3.1;

/// Removes mains hum: 50 or 60 Hz and its harmonics.
///
/// The stage measures every harmonic once per mains period, with a rectangular window that has zeros at all other
/// harmonics, and subtracts it. The result is a notch about 0.3 Hz wide.
///
/// - **Frequency tracking** within 0.5 Hz of nominal. The best of 25 candidates gives the first estimate. Then a
///   Kalman filter tracks phase and frequency of the fundamental from all harmonics together. Each harmonic estimates
///   only its own amplitude and relative phase.
/// - **Robust averaging**: a redescending mean gives almost no weight to measurements that deviate from the estimate
///   by more than its magnitude. A voice over the hum does not disturb the estimate, and a voice whose pitch crosses
///   a harmonic is not notched.
/// - **Coherence gate**: a harmonic is removed only when its phase is coherent over 0.6 s. Noise and voices are not.
///   Without a coherent harmonic the output is the input bit for bit.
///
/// Every channel has its own harmonics; the mains frequency is common. Where a channel falls silent, its estimates
/// advance in phase until it sounds again.
///
/// Latency 0. Tail: three periods of the mains, stated as 3.1 nominal periods. Subtraction continues for that time
/// after a channel falls silent. Estimates persist for some seconds. For files,
/// [`Strip::analyse_ahead`](crate::Strip::analyse_ahead) makes them available from the first sample. Tested by
/// `restoration` in `properties` and by the module's own tests.
#[derive(Clone, Copy, Debug)]
pub struct Hum;

/// Coefficients of the [`Hum`] stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HumCoefs {
    nominal_hz: f64,
    rate_hz: f64,
    harmonic_count: usize,
    /// Removed share of each harmonic, 0 to 1.
    share: f64,
}

blank! { HumCoefs { nominal_hz, rate_hz, harmonic_count, share } }

impl HumCoefs {
    /// True when all coefficients are finite and in range.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        let Self { nominal_hz, rate_hz, harmonic_count: _, share } = self;
        [nominal_hz, rate_hz].iter().all(|hz| hz.is_finite() && **hz > 0.0) && (0.0..=1.0).contains(share)
    }

    /// Response to a steady tone when the mains is at its nominal frequency and every harmonic contains hum. The time
    /// constant of the average sets the width of the notches.
    #[must_use]
    pub fn response_at(&self, frequency_hz: f64) -> Response {
        let harmonic = libm::round(frequency_hz / self.nominal_hz);
        if harmonic < 1.0 || harmonic > self.harmonic_count as f64 {
            return Response::ONE;
        }
        let off = 2.0 * core::f64::consts::PI * harmonics::MEAN_S * (frequency_hz - harmonic * self.nominal_hz);
        let power = 1.0 + off * off;
        Response { re: 1.0 - self.share / power, im: self.share * off / power }
    }
}

/// State of a [`Hum`] stage.
#[derive(Clone, Debug)]
pub struct HumState<const C: usize> {
    /// Nominal fundamental, Hz; 0 before the first frame.
    nominal_hz: f64,
    /// Fundamental of the oscillators, Hz, with their phase increments per sample and their period in samples.
    base_hz: f64,
    steps: PhaseIncrements,
    period: u32,
    /// Phase of the fundamental at the start of the period, cycles.
    phase: f64,
    /// Elapsed samples of the period.
    at: u32,
    oscillators: [Complex4; VECTORS],
    sums: [[Complex4; VECTORS]; C],
    /// Removed amplitudes: current value, and increment per sample.
    now: [[Complex4; VECTORS]; C],
    slopes: [[Complex4; VECTORS]; C],
    /// True when any removed amplitude is not 0.
    acts: bool,
    harmonics: Harmonics<C>,
}

blank! {
    [const C: usize] HumState<C> {
        nominal_hz, base_hz, steps, period, phase, at, oscillators, sums, now, slopes, acts, harmonics,
    }
}

impl<const C: usize> HumState<C> {
    /// Detected mains frequency, Hz; `None` without hum.
    #[must_use]
    pub fn frequency_hz(&self) -> Option<f64> {
        self.harmonics.any_steady().then(|| self.base_hz + self.harmonics.offset_hz())
    }

    /// Continues forwards from the first sample with the estimates, after the start of a recording has run backwards.
    pub(crate) fn reverse_time(&mut self, coefs: &HumCoefs) {
        if self.nominal_hz == 0.0 {
            return;
        }
        let (gone, period) = (f64::from(self.at), f64::from(self.period));
        // The last sample of the reversed audio is the next one forwards.
        let phase = -(self.phase + (gone - 1.0) * self.base_hz / coefs.rate_hz);
        (self.phase, self.at) = (phase - libm::floor(phase), 0);
        self.sums = [[Complex4::ZERO; VECTORS]; C];
        self.oscillators = harmonics::oscillators(self.phase);
        self.harmonics.reverse_time(1.0 + gone / period, period / coefs.rate_hz);
        self.acts = !self.harmonics.is_silent();
        begin_part(self, 0);
    }

    /// RMS level of all removed harmonics, dBFS, in the channel with the most hum; `None` when nothing is removed.
    #[must_use]
    pub fn removed_hum_dbfs(&self) -> Option<f64> {
        Some(self.harmonics.removed_power()).filter(|&power| power > 0.0).map(power_to_db)
    }
}

impl<const C: usize> Stage<C> for Hum
where
    [f32; C]: Frame,
{
    type Settings = HumSettings;
    type Coefs = HumCoefs;
    type State = HumState<C>;

    fn design(s: &HumSettings, rate: SampleRate) -> Result<HumCoefs, SettingError> {
        s.check()?;
        let nominal_hz = match s.mains {
            Mains::Hz50 => 50.0,
            Mains::Hz60 => 60.0,
        };
        Ok(HumCoefs {
            nominal_hz,
            rate_hz: rate.hz(),
            harmonic_count: (libm::round(s.harmonics) as usize).clamp(1, MAX_HARMONICS),
            share: 1.0 - from_db(-s.depth_db),
        })
    }

    fn clear(state: &mut HumState<C>, _rate: SampleRate) {
        *state = HumState {
            nominal_hz: 0.0,
            base_hz: 0.0,
            steps: PhaseIncrements::new(0.0),
            period: 1,
            phase: 0.0,
            at: 0,
            oscillators: [Complex4::ZERO; VECTORS],
            sums: [[Complex4::ZERO; VECTORS]; C],
            now: [[Complex4::ZERO; VECTORS]; C],
            slopes: [[Complex4::ZERO; VECTORS]; C],
            acts: false,
            harmonics: Harmonics::new(),
        };
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state, .. } = context;
        if state.nominal_hz == 0.0 {
            begin(coefs, state);
        }
        let mut rest = frames;
        while !rest.is_empty() {
            let period = state.period;
            let part = state.at * PARTS / period;
            let end = ((part + 1) * period).div_ceil(PARTS);
            let (now, later) = rest.split_at_mut(rest.len().min((end - state.at) as usize));
            run_segment(coefs, state, now);
            state.at += now.len() as u32;
            if state.at == period {
                end_period(coefs, state);
            } else if state.at == end {
                begin_part(state, part + 1);
            }
            rest = later;
        }
    }

    fn interpolated(from: &HumCoefs, to: &HumCoefs, t: f64) -> HumCoefs {
        HumCoefs { share: from.share + (to.share - from.share) * t, ..*to }
    }

    fn tail(coefs: &HumCoefs) -> u32 {
        if coefs.share == 0.0 { 0 } else { (TAIL_PERIODS * coefs.rate_hz / coefs.nominal_hz) as u32 }
    }

    fn is_stable(coefs: &HumCoefs) -> bool {
        coefs.is_stable()
    }
}

/// Restarts at the fundamental of the coefficients.
fn begin<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    (state.nominal_hz, state.phase, state.at) = (coefs.nominal_hz, 0.0, 0);
    state.harmonics = Harmonics::new();
    state.oscillators = harmonics::oscillators(0.0);
    tune(coefs, state);
}

/// Tunes the oscillators to the tracked fundamental.
fn tune<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    let base_hz = state.nominal_hz + state.harmonics.moved_hz();
    if base_hz != state.base_hz {
        state.base_hz = base_hz;
        state.steps = PhaseIncrements::new(base_hz / coefs.rate_hz);
        state.period = libm::round(coefs.rate_hz / base_hz) as u32;
    }
}

/// Measures and removes the harmonics, for frames of one part of a period.
fn run_segment<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>, frames: &mut [[f32; C]]) {
    let steps = state.steps;
    let used = coefs.harmonic_count.div_ceil(4);
    let mut oscillators = state.oscillators;
    if state.acts {
        for frame in frames {
            let mut hum = [f32x4::ZERO; C];
            for (j, (tone, step)) in oscillators.iter_mut().zip(steps.0).enumerate() {
                for c in 0..C {
                    accumulate(&mut state.sums[c][j], *tone, frame[c]);
                    hum[c] += state.now[c][j].real_of_product(*tone);
                    state.now[c][j] = state.now[c][j].plus(state.slopes[c][j]);
                }
                *tone = tone.times(step);
            }
            for (sample, hum) in frame.iter_mut().zip(hum) {
                *sample -= hum.reduce_add();
            }
        }
    } else {
        for frame in frames {
            for (j, (tone, step)) in oscillators.iter_mut().zip(steps.0).take(used).enumerate() {
                for (sums, sample) in state.sums.iter_mut().zip(*frame) {
                    accumulate(&mut sums[j], *tone, sample);
                }
                *tone = tone.times(step);
            }
        }
    }
    state.oscillators = oscillators;
}

/// Ends a period: passes the measurement to the harmonics and starts the next period.
fn end_period<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    let sums = core::mem::replace(&mut state.sums, [[Complex4::ZERO; VECTORS]; C]);
    // Accumulated in closed form, so the phase does not drift.
    let phase = state.phase + f64::from(state.period) * state.base_hz / coefs.rate_hz;
    (state.phase, state.at) = (phase - libm::floor(phase), 0);
    if state.nominal_hz == coefs.nominal_hz {
        state.harmonics.push_period(&sums, state.period, coefs.rate_hz, coefs.harmonic_count, coefs.share);
        tune(coefs, state);
        state.oscillators = harmonics::oscillators(state.phase);
    } else if state.harmonics.is_silent() {
        begin(coefs, state);
    } else {
        // The setting has changed: the oscillators keep the old fundamental until removal has faded out.
        state.harmonics.fade_out();
        state.oscillators = harmonics::oscillators(state.phase);
    }
    state.acts = !state.harmonics.is_silent();
    begin_part(state, 0);
}

/// Sets the linear interpolation of the amplitudes over a part of the period.
fn begin_part<const C: usize>(state: &mut HumState<C>, part: u32) {
    let period = state.period;
    if !state.acts {
        state.now = [[Complex4::ZERO; VECTORS]; C];
        state.slopes = state.now;
        return;
    }
    let start = (part * period).div_ceil(PARTS);
    let end = ((part + 1) * period).div_ceil(PARTS);
    let from = state.harmonics.amplitudes(f64::from(start) / f64::from(period));
    let to = state.harmonics.amplitudes(f64::from(end) / f64::from(period));
    for c in 0..C {
        for j in 0..VECTORS {
            state.now[c][j] = from[c][j];
            state.slopes[c][j] = to[c][j].minus(from[c][j]).scaled(f32x4::splat(1.0 / (end - start) as f32));
        }
    }
}
