//! The hum stage: takes the mains family out of a recording and leaves the voice that crosses it.

use super::{Stage, StageContext};
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

/// Of so much of a recording's beginning its hum is learnt by [`Strip::analyse_ahead`](crate::Strip::analyse_ahead), s: the mean of an amplitude
/// forgets in a second, the frequency gains from more, and ten seconds of speech have pauses.
pub(crate) const ANALYSED_AHEAD_S: f64 = 10.0;

/// Parts of a period between which the amplitudes go straight.
const PARTS: u32 = 4;

/// Takes out mains hum: 50 or 60 Hz and its harmonics.
///
/// Every harmonic is measured once per mains period, where a rectangular window has zeros at all other harmonics, and an equal
/// and opposite tone is added: a notch about 0.3 Hz wide. Three things make it more than a filter:
///
/// - it **follows the frequency** within 0.5 Hz of the nominal one: 25 candidates at first, then a Kalman filter for phase
///   and frequency of the fundamental, which all harmonics feed together, so that a harmonic has only its amplitude and its phase
///   against the others for itself to learn;
/// - it **learns from quiet moments**: what differs from the harmonic as known by more than the harmonic itself has next to no
///   weight (a redescending mean), so a voice over the hum does not disturb it, and a voice whose pitch passes over a harmonic
///   is not notched;
/// - it **acts only on harmonics that are steady**: the phase of a harmonic has to agree with itself over 0.6 s. Noise and voices
///   do not, and where no harmonic does, the input returns bit for bit.
///
/// Latency 0. After hum that stops it sounds on for less than three periods, which is its tail. What it has learnt lasts
/// some seconds. For files it can learn before the first sample
/// ([`Strip::analyse_ahead`](crate::Strip::analyse_ahead)). Tested by `hum` in `properties` and by the tests of its module.
#[derive(Clone, Copy, Debug)]
pub struct Hum;

/// Coefficients of the [`Hum`] stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HumCoefs {
    nominal_hz: f64,
    rate_hz: f64,
    harmonic_count: usize,
    /// What is taken of a harmonic, 0 to 1.
    share: f64,
}

impl HumCoefs {
    /// True when everything is finite.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        (0.0..=1.0).contains(&self.share)
    }

    /// What it does to a steady tone, when the mains is at its nominal frequency and every harmonic has hum: notches as wide
    /// as the mean is long.
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

/// What the sound has left in a [`Hum`] stage.
#[derive(Clone, Debug)]
pub struct HumState<const C: usize> {
    /// The nominal fundamental; 0 before the first frame.
    nominal_hz: f64,
    /// The one that the oscillators run at, what they turn by per sample, and the samples of their period.
    base_hz: f64,
    steps: PhaseIncrements,
    period: u32,
    /// Phase of the fundamental at the beginning of the period, cycles.
    phase: f64,
    /// Samples of the period that have gone by.
    at: u32,
    oscillators: [Complex4; VECTORS],
    sums: [[Complex4; VECTORS]; C],
    /// The amplitudes that are taken out now, what every sample adds to them, and what is in them at the part's end.
    now: [[Complex4; VECTORS]; C],
    slopes: [[Complex4; VECTORS]; C],
    /// Whether any of them is not 0.
    acts: bool,
    harmonics: Harmonics<C>,
}

impl<const C: usize> HumState<C> {
    /// The mains frequency that it has found, Hz; `None` where there is no hum.
    #[must_use]
    pub fn frequency_hz(&self) -> Option<f64> {
        self.harmonics.any_steady().then(|| self.base_hz + self.harmonics.offset_hz())
    }

    /// After a recording's beginning was heard backwards: goes on forwards from its first sample, with what was learnt.
    pub(crate) fn reverse_time(&mut self, coefs: &HumCoefs) {
        if self.nominal_hz == 0.0 {
            return;
        }
        let (gone, period) = (f64::from(self.at), f64::from(self.period));
        // The last sample that was heard is the first of those that come.
        let phase = -(self.phase + (gone - 1.0) * self.base_hz / coefs.rate_hz);
        (self.phase, self.at) = (phase - libm::floor(phase), 0);
        self.sums = [[Complex4::ZERO; VECTORS]; C];
        self.oscillators = harmonics::oscillators(self.phase);
        self.harmonics.reverse_time(1.0 + gone / period, period / coefs.rate_hz);
        self.acts = !self.harmonics.is_silent();
        begin_part(self, 0);
    }

    /// The level of the hum that it takes out now, all harmonics together, dBFS RMS, of the channel that has most; `None` where it
    /// takes nothing.
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

    fn state(_rate: SampleRate) -> HumState<C> {
        HumState {
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
        }
    }

    fn run(context: StageContext<'_, Self, C>, frames: &mut [[f32; C]]) {
        let StageContext { coefs, state } = context;
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
        if coefs.share == 0.0 { 0 } else { (3.1 * coefs.rate_hz / coefs.nominal_hz) as u32 }
    }

    fn is_stable(coefs: &HumCoefs) -> bool {
        coefs.is_stable()
    }
}

/// Begins afresh at the fundamental of the coefficients.
fn begin<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    (state.nominal_hz, state.phase, state.at) = (coefs.nominal_hz, 0.0, 0);
    state.harmonics = Harmonics::new();
    state.oscillators = harmonics::oscillators(0.0);
    tune(coefs, state);
}

/// Sets the oscillators to where the harmonics want them.
fn tune<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    let base_hz = state.nominal_hz + state.harmonics.moved_hz();
    if base_hz != state.base_hz {
        state.base_hz = base_hz;
        state.steps = PhaseIncrements::new(base_hz / coefs.rate_hz);
        state.period = libm::round(coefs.rate_hz / base_hz) as u32;
    }
}

/// Measures the harmonics and takes them out, for frames of one part of a period.
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

/// Ends a period: what was measured goes to the harmonics, and the next period begins.
fn end_period<const C: usize>(coefs: &HumCoefs, state: &mut HumState<C>) {
    let sums = core::mem::replace(&mut state.sums, [[Complex4::ZERO; VECTORS]; C]);
    // Exactly, so that nothing drifts.
    let phase = state.phase + f64::from(state.period) * state.base_hz / coefs.rate_hz;
    (state.phase, state.at) = (phase - libm::floor(phase), 0);
    if state.nominal_hz == coefs.nominal_hz {
        state.harmonics.push_period(&sums, state.period, coefs.rate_hz, coefs.harmonic_count, coefs.share);
        tune(coefs, state);
        state.oscillators = harmonics::oscillators(state.phase);
    } else if state.harmonics.is_silent() {
        begin(coefs, state);
    } else {
        // Another fundamental was set: the oscillators run on at the old one until nothing is taken out any more.
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
