//! Estimates of the mains harmonics, updated once per period.

use crate::blank::{Blank, blank};
use crate::dsp::{Complex, Complex4, parabola};
use core::f64::consts::TAU;
use wide::f32x4;

/// Maximum number of removed harmonics.
pub const MAX_HARMONICS: usize = 20;
/// Vectors of four harmonics.
pub(super) const VECTORS: usize = MAX_HARMONICS / 4;
/// Time constant of amplitude estimates, s.
pub(super) const MEAN_S: f64 = 1.0;
/// Time constant of phase coherence, s.
const COHERENCE_S: f64 = 0.6;
/// Number of candidate offsets of the mains frequency, and their spacing, Hz.
const CANDIDATES: usize = 25;
const CANDIDATE_HZ: f64 = 0.5 / 12.0;
/// Phase coherence (0 to 1) above which a harmonic counts as hum, and below which it no longer does. Noise: 60
/// independent phases have a coherence of 0.13, and reach 0.5 with a probability of 1e-7.
const STEADY: f32 = 0.6;
const UNSTEADY: f32 = 0.4;
/// Phase coherence that locks a harmonic, and below which it unlocks. Both, and the headroom of a locked harmonic,
/// were chosen with development and evaluation recordings in view (see tests/accuracy/RESULTS.md).
const LOCK_COHERENCE: f32 = 0.8;
const UNLOCK_COHERENCE: f32 = 0.2;
/// Periods before any harmonic counts as hum.
const MIN_PERIODS: u32 = 15;
/// Deviation with half weight, as a multiple of the magnitude of the hum.
const WIDTH: f32 = 0.35;
/// Maximum magnitude of a locked harmonic, as a multiple of its estimate.
const LOCKED_HEADROOM: f32 = 1.25;
/// Distance to the best candidate at which tracking restarts there, Hz.
const RESTART_DISTANCE_HZ: f64 = 0.03;
/// While a harmonic is locked, a restart also needs a score higher by this factor.
const RESTART_SCORE_RATIO: f32 = 1.3;
/// Standard deviations of phase, rad, and frequency, Hz, after a restart from a candidate.
const INITIAL_PHASE: f64 = 0.3;
const INITIAL_HZ: f64 = 0.1;
/// Drift of the mains frequency within a second, Hz (common practice, no source: grids drift by some millihertz).
const DRIFT_HZ: f64 = 0.001;
/// Limit of the common phase error per period, rad.
const MAX_PHASE_ERROR: f64 = 0.3;
/// Stored magnitudes, one every other period: 2 s.
const MAGNITUDES: usize = 48;
/// Lower limit of the accumulated weight in divisions.
const MIN_WEIGHT: f32 = 1e-3;
/// Digital silence.
const SILENCE: f32 = 1e-7;

/// A complex amplitude of one harmonic.
type Amplitude = Complex<f32>;

/// Adds a sample times the conjugate of a tone to a sum, for four harmonics.
#[inline(always)]
pub(super) fn accumulate(sum: &mut Complex4, tone: Complex4, sample: f32) {
    let x = f32x4::splat(sample);
    sum.re += x * tone.re;
    sum.im -= x * tone.im;
}

/// `exp(j TAU cycles k)` for every harmonic `k`.
fn tones(cycles: f64) -> [Amplitude; MAX_HARMONICS] {
    core::array::from_fn(|k| {
        let turns = cycles * (k + 1) as f64;
        Complex::unit_phasor(turns - libm::floor(turns))
    })
}

fn vectors(harmonics: &[Amplitude; MAX_HARMONICS]) -> [Complex4; VECTORS] {
    core::array::from_fn(|j| [0, 1, 2, 3].map(|k| harmonics[4 * j + k]).into())
}

/// Oscillators of all harmonics at a phase of the fundamental in cycles.
pub(super) fn oscillators(cycles: f64) -> [Complex4; VECTORS] {
    vectors(&tones(cycles))
}

/// Rotation of the oscillators per sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PhaseIncrements(pub(super) [Complex4; VECTORS]);

blank!(PhaseIncrements = Self(Blank::BLANK));

impl PhaseIncrements {
    pub(super) fn new(cycles_per_sample: f64) -> Self {
        Self(oscillators(cycles_per_sample))
    }
}

/// One harmonic of one channel.
#[derive(Clone, Copy, Debug)]
struct Harmonic {
    /// Estimated amplitude at the middle of the last period, relative to the oscillator.
    estimate: Amplitude,
    /// Lower quartile of the magnitudes: hum without a voice over it. Never below [`SILENCE`], because it divides.
    quartile: f32,
    /// Degree of removal, 0 to 1.
    removal: f32,
    steady: bool,
    /// True when the phase is coherent enough to keep the estimate under a continuous voice.
    locked: bool,
    magnitudes: [f32; MAGNITUDES],
    /// Accumulated weight of the coherence, 0 to 1.
    weight: f32,
    /// Mean phasor at each candidate offset.
    phases: [Amplitude; CANDIDATES],
    /// Removed minus estimated amplitude at the start of the period. It fades out linearly over the period.
    step: Amplitude,
}

blank! { Harmonic { estimate, quartile, removal, steady, locked, magnitudes, weight, phases, step } }

impl Harmonic {
    const NEW: Self = Self {
        estimate: Amplitude { re: 0.0, im: 0.0 },
        quartile: SILENCE,
        removal: 0.0,
        steady: false,
        locked: false,
        magnitudes: [0.0; MAGNITUDES],
        weight: 0.0,
        phases: [Amplitude { re: 0.0, im: 0.0 }; CANDIDATES],
        step: Amplitude { re: 0.0, im: 0.0 },
    };

    /// Magnitude of the hum alone. A locked harmonic uses its estimate, because a continuous voice leaves no quiet
    /// quartile.
    fn hum_magnitude(&self) -> f32 {
        let estimate = LOCKED_HEADROOM * self.estimate.magnitude();
        if self.locked && estimate < self.quartile { estimate.max(SILENCE) } else { self.quartile }
    }
}

/// Kalman filter for phase and frequency of the fundamental. Its measurement is the common phase error of all
/// harmonics.
///
/// Standard form for a frequency with random walk (Bar-Shalom, Li, Kirubarajan 2001, chapter 6, from memory).
#[derive(Clone, Copy, Debug)]
struct PhaseKalman {
    /// Covariance: phase, phase with frequency, frequency. Units: radians, and radians per period.
    phase: f64,
    cross: f64,
    turn: f64,
}

blank! { PhaseKalman { phase, cross, turn } }

impl PhaseKalman {
    fn new(period_s: f64) -> Self {
        let turn = TAU * INITIAL_HZ * period_s;
        Self { phase: INITIAL_PHASE * INITIAL_PHASE, cross: 0.0, turn: turn * turn }
    }

    /// Adds one period's measurement: the phase error of the fundamental, rad, with variance `1 / information`.
    /// Returns the corrections of phase, rad, and frequency, Hz.
    fn correct(&mut self, phase_error: f64, information: f64, period_s: f64) -> (f64, f64) {
        let drift = TAU * DRIFT_HZ * period_s;
        let (phase, cross) = (self.phase + 2.0 * self.cross + self.turn, self.cross + self.turn);
        let turn = self.turn + drift * drift * period_s;
        let shrink = 1.0 / (1.0 + phase * information);
        self.phase = phase * shrink;
        self.cross = cross * shrink;
        self.turn = turn - cross * cross * information * shrink;
        let pull = shrink * information * phase_error;
        (phase * pull, cross * pull / (TAU * period_s))
    }
}

/// The best candidate for the mains frequency.
#[derive(Clone, Copy, Debug)]
struct BestCandidate {
    candidate: usize,
    score: f32,
    /// Its offset, interpolated between candidates, Hz.
    offset_hz: f64,
}

/// Deviation of every harmonic from its prediction, with its weight.
type Deviations<const C: usize> = [[(Amplitude, f32); MAX_HARMONICS]; C];

/// All harmonics of all channels.
#[derive(Clone, Debug)]
pub(super) struct Harmonics<const C: usize> {
    harmonics: [[Harmonic; MAX_HARMONICS]; C],
    /// Offset of the mains from the oscillators: in Hz, and in cycles per period.
    offset_hz: f64,
    turn: f64,
    tracker: PhaseKalman,
    share: f32,
    /// Offset of the oscillators from the nominal frequency, in candidates.
    moved: i32,
    periods: u32,
    /// Periods since the last restart or retuning.
    periods_since_restart: u32,
    magnitude_count: usize,
    silent: bool,
}

blank! {
    [const C: usize] Harmonics<C> {
        harmonics, offset_hz, turn, tracker, share, moved, periods, periods_since_restart, magnitude_count, silent,
    }
}

impl<const C: usize> Harmonics<C> {
    pub(super) fn new() -> Self {
        Self {
            harmonics: [[Harmonic::NEW; MAX_HARMONICS]; C],
            offset_hz: 0.0,
            turn: 0.0,
            tracker: PhaseKalman { phase: 0.0, cross: 0.0, turn: 0.0 },
            share: 0.0,
            moved: 0,
            periods: 0,
            periods_since_restart: 0,
            magnitude_count: 0,
            silent: true,
        }
    }

    /// Offset of the mains from the oscillators, Hz.
    pub(super) fn offset_hz(&self) -> f64 {
        self.offset_hz
    }

    /// Offset of the oscillators from the nominal frequency, Hz.
    pub(super) fn moved_hz(&self) -> f64 {
        f64::from(self.moved) * CANDIDATE_HZ
    }

    pub(super) fn any_steady(&self) -> bool {
        self.harmonics.iter().flatten().any(|harmonic| harmonic.steady)
    }

    /// True when nothing is removed in this period.
    pub(super) fn is_silent(&self) -> bool {
        self.silent
    }

    /// Mean square of the removed harmonics in the channel with the most hum.
    pub(super) fn removed_power(&self) -> f64 {
        let of = |harmonic: &Harmonic| 0.5 * f64::from(harmonic.estimate.scaled(self.share * harmonic.removal).power());
        self.harmonics.iter().map(|harmonics| harmonics.iter().map(of).sum()).fold(0.0, f64::max)
    }

    /// Fades the removal out within the next period.
    pub(super) fn fade_out(&mut self) {
        let end_amplitudes = self.end_amplitudes();
        for (harmonic, end) in self.harmonics.iter_mut().flatten().zip(end_amplitudes.iter().flatten()) {
            (harmonic.removal, harmonic.step) = (0.0, *end);
        }
        self.silent = self.harmonics.iter().flatten().all(|harmonic| harmonic.step.power() == 0.0);
    }

    /// Reverses time, `periods` after the start of the last period, so that estimates from reversed audio apply
    /// forwards.
    ///
    /// A reversed harmonic has the same frequency and the conjugate amplitude. It is rotated to the middle of the
    /// period that ends here.
    pub(super) fn reverse_time(&mut self, periods: f64, period_s: f64) {
        let turns = tones(-self.turn * periods);
        for harmonics in &mut self.harmonics {
            for (harmonic, turn) in harmonics.iter_mut().zip(turns) {
                harmonic.estimate = harmonic.estimate.conjugate().times(turn);
                harmonic.step = Amplitude::default();
            }
        }
        for candidate in 0..CANDIDATES {
            let turns = tones(-offset_of(candidate as f64) * period_s * periods);
            for harmonics in &mut self.harmonics {
                for (harmonic, turn) in harmonics.iter_mut().zip(turns) {
                    harmonic.phases[candidate] = harmonic.phases[candidate].conjugate().times(turn);
                }
            }
        }
        self.tracker.cross = -self.tracker.cross;
        self.silent = self.harmonics.iter().flatten().all(|harmonic| harmonic.removal == 0.0);
    }

    /// Removed amplitude of a harmonic, rotated from the middle of the last period by `turns`.
    fn removed_amplitude(&self, harmonic: &Harmonic, turns: Amplitude) -> Amplitude {
        harmonic.estimate.times(turns).scaled(self.share * harmonic.removal)
    }

    /// Removed amplitudes of all harmonics at position `after` of the current period, 0 to 1.
    pub(super) fn amplitudes(&self, after: f64) -> [[Complex4; VECTORS]; C] {
        let turns = tones(self.turn * (0.5 + after));
        let left = (1.0 - after) as f32;
        core::array::from_fn(|c| {
            let at: [Amplitude; MAX_HARMONICS] = core::array::from_fn(|k| {
                let harmonic = &self.harmonics[c][k];
                self.removed_amplitude(harmonic, turns[k]).plus(harmonic.step.scaled(left))
            });
            vectors(&at)
        })
    }

    /// Removed amplitudes at the end of the current period.
    fn end_amplitudes(&self) -> [[Amplitude; MAX_HARMONICS]; C] {
        let turns = tones(self.turn * 1.5);
        core::array::from_fn(|c| core::array::from_fn(|k| self.removed_amplitude(&self.harmonics[c][k], turns[k])))
    }

    /// Adds the sums of one period of `period` samples. A silent channel carries no information: its harmonics keep
    /// their estimates and only advance in phase, and nothing is removed from it.
    pub(super) fn push_period(
        &mut self,
        sums: &[[Complex4; VECTORS]; C],
        period: u32,
        rate_hz: f64,
        harmonic_count: usize,
        share: f64,
    ) {
        let end_amplitudes = self.end_amplitudes();
        let period_s = f64::from(period) / rate_hz;
        self.periods = self.periods.saturating_add(1);
        self.periods_since_restart = self.periods_since_restart.saturating_add(1);
        self.share = share as f32;
        let scale = 2.0 / period as f32;
        let measured: [[Amplitude; MAX_HARMONICS]; C] = core::array::from_fn(|c| {
            core::array::from_fn(|k| {
                let pair = &sums[c][k / 4];
                let (re, im) = (pair.re.to_array(), pair.im.to_array());
                Amplitude { re: scale * re[k % 4], im: scale * im[k % 4] }
            })
        });
        let sounding = measured.map(|measured| measured.iter().any(|d| d.power() > SILENCE * SILENCE));
        if sounding.contains(&true) {
            self.update_magnitudes(&measured, &sounding, harmonic_count);
        }
        self.update_phase_coherence(&measured, &sounding, harmonic_count, period_s);
        self.follow(&measured, &sounding, harmonic_count, period_s);
        self.update_removal(&measured, &sounding, harmonic_count);
        self.retune(period_s);
        // All estimates are final, so the start of the next period is known.
        let turns = tones(self.turn * 0.5);
        self.silent = true;
        for (c, end_amplitudes) in end_amplitudes.iter().enumerate() {
            for k in 0..MAX_HARMONICS {
                let begin = self.removed_amplitude(&self.harmonics[c][k], turns[k]);
                let harmonic = &mut self.harmonics[c][k];
                harmonic.step = end_amplitudes[k].minus(begin);
                self.silent &= harmonic.removal == 0.0 && harmonic.step.power() == 0.0;
            }
        }
    }

    /// Stores magnitudes, and updates the quartile of every fourth harmonic.
    fn update_magnitudes(
        &mut self,
        measured: &[[Amplitude; MAX_HARMONICS]; C],
        sounding: &[bool; C],
        harmonic_count: usize,
    ) {
        let first = self.magnitude_count == 0;
        if self.periods.is_multiple_of(2) || first {
            let at = self.magnitude_count % MAGNITUDES;
            for ((harmonics, measured), _) in self.harmonics.iter_mut().zip(measured).zip(sounding).filter(|x| *x.1) {
                for (harmonic, d) in harmonics.iter_mut().zip(measured) {
                    harmonic.magnitudes[at] = d.magnitude();
                }
            }
            self.magnitude_count += 1;
            // Keeps the count bounded and the ring position correct.
            if self.magnitude_count == 2 * MAGNITUDES {
                self.magnitude_count = MAGNITUDES;
            }
        }
        let count = self.magnitude_count.min(MAGNITUDES);
        let update_all = count < 16;
        for harmonics in &mut self.harmonics {
            for (k, harmonic) in harmonics.iter_mut().enumerate().take(harmonic_count) {
                if update_all || k as u32 % 4 == self.periods % 4 {
                    let mut sorted = harmonic.magnitudes;
                    let (_, quartile, _) = sorted[..count].select_nth_unstable_by(count / 4, f32::total_cmp);
                    harmonic.quartile = quartile.max(SILENCE);
                }
            }
        }
    }

    /// Updates the phase coherence at every candidate.
    ///
    /// Each period counts, and fades the past, in proportion to its likelihood of being hum alone. While a voice
    /// covers a harmonic its coherence is frozen.
    fn update_phase_coherence(
        &mut self,
        measured: &[[Amplitude; MAX_HARMONICS]; C],
        sounding: &[bool; C],
        harmonic_count: usize,
        period_s: f64,
    ) {
        let kept = libm::exp(-period_s / COHERENCE_S) as f32;
        let mut units = [[(Amplitude::default(), 1.0); MAX_HARMONICS]; C];
        for c in (0..C).filter(|&c| sounding[c]) {
            for k in 0..harmonic_count {
                let (amplitude, magnitude) = (measured[c][k], self.harmonics[c][k].hum_magnitude());
                let size = amplitude.magnitude();
                let larger = if size > magnitude { size } else { magnitude };
                // A locked harmonic has a known size: anything larger is a voice.
                let likeness = magnitude / larger;
                let weight =
                    (1.0 - kept) * if self.harmonics[c][k].locked { likeness * likeness * likeness } else { likeness };
                units[c][k] = (amplitude.scaled(weight / larger), 1.0 - weight);
                let harmonic = &mut self.harmonics[c][k];
                harmonic.weight += weight * (1.0 - harmonic.weight);
            }
        }
        for candidate in 0..CANDIDATES {
            let turn = Complex::unit_phasor(offset_of(candidate as f64) * period_s);
            let mut turns = turn;
            for k in 0..harmonic_count {
                for (harmonics, units) in self.harmonics.iter_mut().zip(&units) {
                    let phase = &mut harmonics[k].phases[candidate];
                    let (unit, kept) = units[k];
                    *phase = phase.times(turns).scaled(kept).plus(unit);
                }
                turns = turns.times(turn);
            }
        }
    }

    /// Phase coherence at a candidate, summed over all harmonics.
    fn score(&self, candidate: usize, harmonic_count: usize) -> f32 {
        (0..harmonic_count)
            .map(|k| self.harmonics.iter().map(|harmonics| harmonics[k].phases[candidate].power()).sum::<f32>())
            .sum()
    }

    /// Tracks the frequency and updates the amplitudes. In silence both continue as predicted.
    fn follow(
        &mut self,
        measured: &[[Amplitude; MAX_HARMONICS]; C],
        sounding: &[bool; C],
        harmonic_count: usize,
        period_s: f64,
    ) {
        if sounding.contains(&true) {
            let best = self.best(harmonic_count);
            let must_restart = libm::fabs(best.offset_hz - self.offset_hz) > RESTART_DISTANCE_HZ
                && (!self.harmonics.iter().flatten().any(|harmonic| harmonic.locked)
                    || best.score > RESTART_SCORE_RATIO * self.score(nearest(self.offset_hz), harmonic_count));
            if self.periods <= MIN_PERIODS || must_restart {
                self.restart_from(&best, harmonic_count, period_s);
                return;
            }
        }
        let steady_gain = (period_s / MEAN_S) as f32;
        let initial_gain = 1.0 / (8.0 + self.periods_since_restart as f32);
        let gain = if initial_gain > steady_gain { initial_gain } else { steady_gain };
        let (deviations, pull, information) = self.deviations(measured, sounding, harmonic_count);
        // The common phase error belongs to the mains, the rest to each harmonic.
        let phase_error =
            if information > 0.0 { (pull / information).clamp(-MAX_PHASE_ERROR, MAX_PHASE_ERROR) } else { 0.0 };
        let (by, step_hz) = self.tracker.correct(phase_error, information, period_s);
        self.offset_hz += step_hz;
        let moved_hz = self.moved_hz();
        self.offset_hz = self.offset_hz.clamp(-0.5 - moved_hz, 0.5 - moved_hz);
        self.turn = self.offset_hz * period_s;
        let corrections = tones(by / TAU);
        for (harmonics, deviations) in self.harmonics.iter_mut().zip(&deviations) {
            for (k, (harmonic, (deviation, weight))) in
                harmonics.iter_mut().zip(deviations).enumerate().take(harmonic_count)
            {
                let together = if harmonic.steady { ((k + 1) as f64 * phase_error) as f32 } else { 0.0 };
                let residual = deviation.minus(harmonic.estimate.times(Amplitude { re: 0.0, im: together }));
                harmonic.estimate = harmonic.estimate.times(corrections[k]).plus(residual.scaled(gain * weight));
            }
        }
    }

    /// The candidate with the highest phase coherence.
    fn best(&self, harmonic_count: usize) -> BestCandidate {
        let (mut best, mut best_score) = (0, -1.0);
        // Candidates stay within 0.5 Hz of the nominal frequency, wherever the oscillators are.
        let from = (-self.moved).max(0) as usize;
        let until = (CANDIDATES as i32 - self.moved).min(CANDIDATES as i32) as usize;
        for candidate in from..until {
            let score = self.score(candidate, harmonic_count);
            if score > best_score {
                (best, best_score) = (candidate, score);
            }
        }
        let inner = best.clamp(1, CANDIDATES - 2);
        let around = [-1i32, 0, 1].map(|n| f64::from(self.score((inner as i32 + n) as usize, harmonic_count)));
        let aside = parabola::vertex(around).clamp(-1.0, 1.0);
        let offset_hz = offset_of(if inner == best { inner as f64 + aside } else { best as f64 });
        BestCandidate { candidate: best, score: best_score, offset_hz }
    }

    /// Restarts tracking from a candidate, with its offset and the phases of its harmonics.
    fn restart_from(&mut self, best: &BestCandidate, harmonic_count: usize, period_s: f64) {
        self.offset_hz = best.offset_hz;
        self.turn = best.offset_hz * period_s;
        self.periods_since_restart = 0;
        self.tracker = PhaseKalman::new(period_s);
        for harmonic in self.harmonics.iter_mut().flat_map(|harmonics| harmonics.iter_mut().take(harmonic_count)) {
            harmonic.estimate =
                harmonic.phases[best.candidate].scaled(harmonic.quartile / harmonic.weight.max(MIN_WEIGHT));
        }
    }

    /// Predicts all harmonics for this period. Returns their deviations and weights, 0 in a silent channel, and the
    /// weighted phase error of the fundamental over all harmonics with its information.
    fn deviations(
        &mut self,
        measured: &[[Amplitude; MAX_HARMONICS]; C],
        sounding: &[bool; C],
        harmonic_count: usize,
    ) -> (Deviations<C>, f64, f64) {
        let turns = tones(self.turn);
        let mut deviations = [[(Amplitude::default(), 0.0f32); MAX_HARMONICS]; C];
        let (mut pull, mut information) = (0.0f64, 0.0f64);
        for k in 0..harmonic_count {
            // Channels are summed first, so the result does not depend on their order.
            let (mut phase_errors, mut powers) = (0.0f64, 0.0f64);
            for (c, (harmonics, measured)) in self.harmonics.iter_mut().zip(measured).enumerate() {
                let harmonic = &mut harmonics[k];
                let predicted = harmonic.estimate.times(turns[k]);
                harmonic.estimate = predicted;
                if !sounding[c] {
                    continue;
                }
                let deviation = measured[k].minus(predicted);
                let width = WIDTH * harmonic.hum_magnitude();
                let weight = 1.0 / (1.0 + deviation.power() / (width * width));
                deviations[c][k] = (deviation, weight);
                if harmonic.steady {
                    let certain = weight / (width * width);
                    phase_errors += f64::from(certain * (deviation.im * predicted.re - deviation.re * predicted.im));
                    powers += f64::from(certain * predicted.power());
                }
            }
            pull += (k + 1) as f64 * phase_errors;
            information += ((k + 1) * (k + 1)) as f64 * powers;
        }
        (deviations, pull, information)
    }

    /// Retunes the oscillators to the candidate nearest to the mains. A period is then one mains period, and
    /// harmonics do not leak into each other: at an offset of 0.5 Hz, a tenth of the tenth harmonic would leak into
    /// the ninth.
    fn retune(&mut self, period_s: f64) {
        let by = libm::round(self.offset_hz / CANDIDATE_HZ) as i32;
        let any_steady = self.harmonics.iter().flatten().any(|harmonic| harmonic.steady);
        if by == 0 || self.periods_since_restart < 4 || !any_steady || libm::fabs(self.offset_hz) < 0.7 * CANDIDATE_HZ {
            return;
        }
        // Old and new oscillators agree at the end of the period, half a period after the estimate.
        let step_hz = f64::from(by) * CANDIDATE_HZ;
        let turns = tones(0.5 * step_hz * period_s);
        for harmonic in self.harmonics.iter_mut().flat_map(|harmonics| harmonics.iter_mut().enumerate()) {
            let (k, harmonic) = harmonic;
            harmonic.estimate = harmonic.estimate.times(turns[k]);
            let phases = harmonic.phases;
            for (candidate, phase) in harmonic.phases.iter_mut().enumerate() {
                let former = candidate as i32 + by;
                *phase = match phases.get(former as usize) {
                    Some(phase) if former >= 0 => phase.times(turns[k]),
                    _ => Amplitude::default(),
                };
            }
        }
        self.moved += by;
        self.offset_hz -= step_hz;
        self.turn = self.offset_hz * period_s;
        self.periods_since_restart = 0;
    }

    /// Starts removal of steady harmonics. Stops all removal from a channel in which the hum has stopped.
    fn update_removal(
        &mut self,
        measured: &[[Amplitude; MAX_HARMONICS]; C],
        sounding: &[bool; C],
        harmonic_count: usize,
    ) {
        let nearest = nearest(self.offset_hz);
        let young_threshold = libm::sqrtf(8.0 / self.periods as f32);
        let threshold = if young_threshold > STEADY { young_threshold } else { STEADY };
        let early = self.periods < MIN_PERIODS;
        for ((harmonics, measured), sounding) in self.harmonics.iter_mut().zip(measured).zip(sounding) {
            let measured_power: f32 = measured[..harmonic_count].iter().map(|measured| measured.power()).sum();
            let removed = |harmonic: &Harmonic| harmonic.removal * harmonic.estimate.power();
            let removed_power: f32 = harmonics[..harmonic_count].iter().map(removed).sum();
            let stopped = !sounding || measured_power < 0.1 * removed_power;
            for (k, harmonic) in harmonics.iter_mut().enumerate() {
                let coherence = harmonic.phases[nearest].magnitude();
                harmonic.steady = k < harmonic_count
                    && !early
                    && coherence
                        > if harmonic.locked {
                            UNLOCK_COHERENCE
                        } else if harmonic.steady {
                            UNSTEADY
                        } else {
                            threshold
                        };
                harmonic.locked = harmonic.steady && (harmonic.locked || coherence > LOCK_COHERENCE);
                if stopped || k >= harmonic_count {
                    harmonic.removal = 0.0;
                } else if harmonic.steady {
                    harmonic.removal += 0.35 * (1.0 - harmonic.removal);
                } else {
                    harmonic.removal = if harmonic.removal < 1e-3 { 0.0 } else { 0.65 * harmonic.removal };
                }
            }
        }
    }
}

/// The candidate nearest to an offset in Hz.
fn nearest(offset_hz: f64) -> usize {
    let position = offset_hz / CANDIDATE_HZ + 0.5 * (CANDIDATES - 1) as f64;
    libm::round(position.clamp(0.0, (CANDIDATES - 1) as f64)) as usize
}

/// Offset of a candidate, Hz.
fn offset_of(candidate: f64) -> f64 {
    (candidate - 0.5 * (CANDIDATES - 1) as f64) * CANDIDATE_HZ
}
