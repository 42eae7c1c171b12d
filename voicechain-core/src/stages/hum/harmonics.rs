//! What is known about the harmonics of the mains family, period by period.

use crate::dsp::{Complex, Complex4, parabola};
use core::f64::consts::TAU;
use wide::f32x4;

/// The most harmonics of the family that are taken out.
pub const MAX_HARMONICS: usize = 20;
/// Vectors of four harmonics.
pub(super) const VECTORS: usize = MAX_HARMONICS / 4;
/// Time constant of what is known about a harmonic, s.
pub(super) const MEAN_S: f64 = 1.0;
/// Time constant of the agreement of phases, s.
const COHERENCE_S: f64 = 0.6;
/// Offsets of the mains frequency that are tried, and their distance, Hz.
const CANDIDATES: usize = 25;
const CANDIDATE_HZ: f64 = 0.5 / 12.0;
/// A harmonic is hum when its phases agree so well (1: all are the same), and no more when they agree less than the second
/// number. Of noise 60 independent phases agree by 0.13; a chance of 1e-7 that they agree by 0.5.
const STEADY: f32 = 0.6;
const UNSTEADY: f32 = 0.4;
/// Phases that agree so well are known from then on, until they agree less than the second number. Both, and what a known
/// harmonic may differ by, were set with all recorded voices in view.
const LOCK_COHERENCE: f32 = 0.8;
const UNLOCK_COHERENCE: f32 = 0.2;
/// Periods before anything is said.
const MIN_PERIODS: u32 = 15;
/// What differs from a harmonic by so many of its usual magnitudes has half the weight.
const WIDTH: f32 = 0.35;
/// A known harmonic may be so many times as large as it is known.
const OWN: f32 = 1.25;
/// How far the loop may be from the best candidate before it starts from there, Hz.
const LOST_HZ: f64 = 0.03;
/// ... and so much more the phases have to agree there, where hum is known.
const CLEARER: f32 = 1.3;
/// How well the fundamental's phase and frequency are known when they come from a candidate: rad, Hz.
const FIRST_PHASE: f64 = 0.3;
const FIRST_HZ: f64 = 0.1;
/// How far the mains frequency wanders in a second, Hz (common practice, no source: grids move by some millihertz).
const DRIFT_HZ: f64 = 0.001;
/// What all harmonics are late by in a period is no more than this, rad.
const MAX_PHASE_ERROR: f64 = 0.3;
/// Magnitudes that are remembered, every other period: 2 s.
const MAGNITUDES: usize = 48;
/// Less of an agreement is not reckoned with.
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

/// `exp(j TAU cycles k)` of every harmonic `k`.
fn tones(cycles: f64) -> [Amplitude; MAX_HARMONICS] {
    core::array::from_fn(|k| {
        let turns = cycles * (k + 1) as f64;
        Complex::unit_phasor(turns - libm::floor(turns))
    })
}

fn vectors(harmonics: &[Amplitude; MAX_HARMONICS]) -> [Complex4; VECTORS] {
    core::array::from_fn(|j| [0, 1, 2, 3].map(|k| harmonics[4 * j + k]).into())
}

/// The oscillators of all harmonics, where the fundamental has gone through so many cycles.
pub(super) fn oscillators(cycles: f64) -> [Complex4; VECTORS] {
    vectors(&tones(cycles))
}

/// What the oscillators turn by per sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PhaseIncrements(pub(super) [Complex4; VECTORS]);

impl PhaseIncrements {
    pub(super) fn new(cycles_per_sample: f64) -> Self {
        Self(oscillators(cycles_per_sample))
    }
}

/// A harmonic of one channel.
#[derive(Clone, Copy, Debug)]
struct Harmonic {
    /// Its amplitude at the middle of the last period, in the frame of the nominal frequency.
    known: Amplitude,
    /// The quartile of the magnitudes: hum without a voice over it.
    quartile: f32,
    /// How far it is taken out, 0 to 1.
    removal: f32,
    steady: bool,
    /// Its phases have agreed so well that it is known whatever lies over it.
    locked: bool,
    magnitudes: [f32; MAGNITUDES],
    /// How much of the agreement has been heard, 0 to 1.
    weight: f32,
    /// Mean phase at each candidate offset.
    phases: [Amplitude; CANDIDATES],
    /// What is taken out at the beginning of the period, and how far that is from where the harmonic is taken to be.
    step: Amplitude,
}

impl Harmonic {
    const NEW: Self = Self {
        known: Amplitude { re: 0.0, im: 0.0 },
        quartile: 0.0,
        removal: 0.0,
        steady: false,
        locked: false,
        magnitudes: [0.0; MAGNITUDES],
        weight: 0.0,
        phases: [Amplitude { re: 0.0, im: 0.0 }; CANDIDATES],
        step: Amplitude { re: 0.0, im: 0.0 },
    };

    /// The magnitude of hum alone. Of a harmonic that is known it is its own: a voice that speaks on leaves no quiet quartile.
    fn own(&self) -> f32 {
        let known = OWN * self.known.magnitude();
        if self.locked && known < self.quartile { known.max(SILENCE) } else { self.quartile }
    }
}

/// How well phase and frequency of the fundamental are known: a Kalman filter of two states whose measurement is what all
/// harmonics are late by together (the textbook's for a frequency that walks at random:
/// Bar-Shalom, Li, Kirubarajan 2001, chapter 6, from memory).
#[derive(Clone, Copy, Debug)]
struct PhaseKalman {
    /// Covariance: phase, phase and turn, turn; radians and radians per period.
    phase: f64,
    both: f64,
    turn: f64,
}

impl PhaseKalman {
    fn new(period_s: f64) -> Self {
        let turn = TAU * FIRST_HZ * period_s;
        Self { phase: FIRST_PHASE * FIRST_PHASE, both: 0.0, turn: turn * turn }
    }

    /// Takes a period's measurement, the fundamental `late` by so many radians with the variance `1 / information`; gives the
    /// corrections of phase, rad, and frequency, Hz.
    fn correct(&mut self, phase_error: f64, information: f64, period_s: f64) -> (f64, f64) {
        let wander = TAU * DRIFT_HZ * period_s;
        let (phase, both) = (self.phase + 2.0 * self.both + self.turn, self.both + self.turn);
        let turn = self.turn + wander * wander * period_s;
        let doubt = 1.0 / (1.0 + phase * information);
        self.phase = phase * doubt;
        self.both = both * doubt;
        self.turn = turn - both * both * information * doubt;
        let pull = doubt * information * phase_error;
        (phase * pull, both * pull / (TAU * period_s))
    }
}

/// A candidate for the mains frequency.
#[derive(Clone, Copy, Debug)]
struct BestCandidate {
    candidate: usize,
    score: f32,
    /// Its offset, refined between candidates, Hz.
    offset_hz: f64,
}

/// How far every harmonic is from where it was taken to be, and what that counts.
type Differences<const C: usize> = [[(Amplitude, f32); MAX_HARMONICS]; C];

/// All harmonics of all channels.
#[derive(Clone, Debug)]
pub(super) struct Harmonics<const C: usize> {
    harmonics: [[Harmonic; MAX_HARMONICS]; C],
    /// Offset of the mains from its nominal frequency, Hz, and in cycles per period.
    offset_hz: f64,
    turn: f64,
    tracker: PhaseKalman,
    share: f32,
    /// How far the oscillators have been moved from the nominal frequency, in candidates.
    moved: i32,
    periods: u32,
    /// Periods since the frequency was last taken from a candidate.
    since: u32,
    magnitude_count: usize,
    silent: bool,
}

impl<const C: usize> Harmonics<C> {
    pub(super) fn new() -> Self {
        Self {
            harmonics: [[Harmonic::NEW; MAX_HARMONICS]; C],
            offset_hz: 0.0,
            turn: 0.0,
            tracker: PhaseKalman { phase: 0.0, both: 0.0, turn: 0.0 },
            share: 0.0,
            moved: 0,
            periods: 0,
            since: 0,
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

    /// True when nothing is taken out in this period.
    pub(super) fn is_silent(&self) -> bool {
        self.silent
    }

    /// Mean square of what is taken out of the channel that has most of it.
    pub(super) fn removed_power(&self) -> f64 {
        let of = |harmonic: &Harmonic| 0.5 * f64::from(harmonic.known.scaled(self.share * harmonic.removal).power());
        self.harmonics.iter().map(|harmonics| harmonics.iter().map(of).sum()).fold(0.0, f64::max)
    }

    /// Goes to nothing within the next period.
    pub(super) fn fade_out(&mut self) {
        let ends = self.ends();
        for (harmonic, end) in self.harmonics.iter_mut().flatten().zip(ends.iter().flatten()) {
            (harmonic.removal, harmonic.step) = (0.0, *end);
        }
        self.silent = self.harmonics.iter().flatten().all(|harmonic| harmonic.step.power() == 0.0);
    }

    /// Turns time round, `periods` after the beginning of the last period that was heard: what was learnt backwards holds for the
    /// sound forwards. Then a harmonic has the same frequency and the conjugate amplitude; it is turned to the middle of the period
    /// that ends here.
    pub(super) fn reverse_time(&mut self, periods: f64, period_s: f64) {
        let turns = tones(-self.turn * periods);
        for harmonics in &mut self.harmonics {
            for (harmonic, turn) in harmonics.iter_mut().zip(turns) {
                harmonic.known = harmonic.known.conjugate().times(turn);
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
        self.tracker.both = -self.tracker.both;
        self.silent = self.harmonics.iter().flatten().all(|harmonic| harmonic.removal == 0.0);
    }

    /// What is to be taken out of a harmonic, turned from the middle of the last period to where it is wanted.
    fn place(&self, harmonic: &Harmonic, turns: Amplitude) -> Amplitude {
        harmonic.known.times(turns).scaled(self.share * harmonic.removal)
    }

    /// What is taken out at a share of the running period, for all harmonics.
    pub(super) fn amplitudes(&self, after: f64) -> [[Complex4; VECTORS]; C] {
        let turns = tones(self.turn * (0.5 + after));
        let left = (1.0 - after) as f32;
        core::array::from_fn(|c| {
            let at: [Amplitude; MAX_HARMONICS] = core::array::from_fn(|k| {
                let harmonic = &self.harmonics[c][k];
                self.place(harmonic, turns[k]).plus(harmonic.step.scaled(left))
            });
            vectors(&at)
        })
    }

    /// What was taken out at the end of the running period.
    fn ends(&self) -> [[Amplitude; MAX_HARMONICS]; C] {
        let turns = tones(self.turn * 1.5);
        core::array::from_fn(|c| core::array::from_fn(|k| self.place(&self.harmonics[c][k], turns[k])))
    }

    /// Takes the sums of one period of so many samples.
    pub(super) fn push_period(
        &mut self,
        sums: &[[Complex4; VECTORS]; C],
        period: u32,
        rate_hz: f64,
        harmonic_count: usize,
        share: f64,
    ) {
        let ends = self.ends();
        let period_s = f64::from(period) / rate_hz;
        self.periods = self.periods.saturating_add(1);
        self.since = self.since.saturating_add(1);
        self.share = share as f32;
        let scale = 2.0 / period as f32;
        let heard: [[Amplitude; MAX_HARMONICS]; C] = core::array::from_fn(|c| {
            core::array::from_fn(|k| {
                let pair = &sums[c][k / 4];
                let (re, im) = (pair.re.to_array(), pair.im.to_array());
                Amplitude { re: scale * re[k % 4], im: scale * im[k % 4] }
            })
        });
        let sounds = heard.iter().flatten().any(|d| d.power() > SILENCE * SILENCE);
        if sounds {
            self.update_magnitudes(&heard, harmonic_count);
            self.update_phase_coherence(&heard, harmonic_count, period_s);
            self.follow(&heard, harmonic_count, period_s);
        }
        self.update_removal(&heard, harmonic_count, sounds);
        self.retune(period_s);
        // Only now the beginning of the next period is where it is.
        let turns = tones(self.turn * 0.5);
        self.silent = true;
        for (c, ends) in ends.iter().enumerate() {
            for k in 0..MAX_HARMONICS {
                let begin = self.place(&self.harmonics[c][k], turns[k]);
                let harmonic = &mut self.harmonics[c][k];
                harmonic.step = ends[k].minus(begin);
                self.silent &= harmonic.removal == 0.0 && harmonic.step.power() == 0.0;
            }
        }
    }

    /// Keeps magnitudes, and finds the quartile of a quarter of the harmonics.
    fn update_magnitudes(&mut self, heard: &[[Amplitude; MAX_HARMONICS]; C], harmonic_count: usize) {
        let first = self.magnitude_count == 0;
        if self.periods.is_multiple_of(2) || first {
            let at = self.magnitude_count % MAGNITUDES;
            for (harmonics, heard) in self.harmonics.iter_mut().zip(heard) {
                for (harmonic, d) in harmonics.iter_mut().zip(heard) {
                    harmonic.magnitudes[at] = d.magnitude();
                }
            }
            self.magnitude_count += 1;
            // The count stays small and the place in the ring right.
            if self.magnitude_count == 2 * MAGNITUDES {
                self.magnitude_count = MAGNITUDES;
            }
        }
        let count = self.magnitude_count.min(MAGNITUDES);
        let young = count < 16;
        for harmonics in &mut self.harmonics {
            for (k, harmonic) in harmonics.iter_mut().enumerate().take(harmonic_count) {
                if young || k as u32 % 4 == self.periods % 4 {
                    let mut sorted = harmonic.magnitudes;
                    let (_, quartile, _) = sorted[..count].select_nth_unstable_by(count / 4, f32::total_cmp);
                    harmonic.quartile = quartile.max(SILENCE);
                }
            }
        }
    }

    /// Brings the agreement of phases up to date at every candidate. A period counts, and lets the past fade, as far as it may
    /// be the hum alone: while a voice lies over a harmonic its agreement stands still.
    fn update_phase_coherence(
        &mut self,
        heard: &[[Amplitude; MAX_HARMONICS]; C],
        harmonic_count: usize,
        period_s: f64,
    ) {
        let kept = libm::exp(-period_s / COHERENCE_S) as f32;
        let mut units = [[(Amplitude::default(), 1.0); MAX_HARMONICS]; C];
        for c in 0..C {
            for k in 0..harmonic_count {
                let (d, quartile) = (heard[c][k], self.harmonics[c][k].own());
                let size = d.magnitude();
                let most = if size > quartile { size } else { quartile };
                // A known harmonic is told by its size: what is larger is a voice.
                let alike = quartile / most;
                let weight = (1.0 - kept) * if self.harmonics[c][k].locked { alike * alike * alike } else { alike };
                units[c][k] = (d.scaled(weight / most), 1.0 - weight);
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

    /// How much the phases of all harmonics agree at a candidate.
    fn score(&self, candidate: usize, harmonic_count: usize) -> f32 {
        (0..harmonic_count)
            .map(|k| self.harmonics.iter().map(|harmonics| harmonics[k].phases[candidate].power()).sum::<f32>())
            .sum()
    }

    /// Follows the frequency, and learns the amplitudes.
    fn follow(&mut self, heard: &[[Amplitude; MAX_HARMONICS]; C], harmonic_count: usize, period_s: f64) {
        let best = self.best(harmonic_count);
        let lost = libm::fabs(best.offset_hz - self.offset_hz) > LOST_HZ
            && (!self.harmonics.iter().flatten().any(|harmonic| harmonic.locked)
                || best.score > CLEARER * self.score(nearest(self.offset_hz), harmonic_count));
        if self.periods <= MIN_PERIODS || lost {
            self.restart_from(&best, harmonic_count, period_s);
            return;
        }
        let mean = (period_s / MEAN_S) as f32;
        let quick = 1.0 / (8.0 + self.since as f32);
        let gain = if quick > mean { quick } else { mean };
        let (offs, pull, information) = self.differences(heard, harmonic_count);
        // What all harmonics are late by together is the mains'; the rest is each harmonic's own.
        let phase_error =
            if information > 0.0 { (pull / information).clamp(-MAX_PHASE_ERROR, MAX_PHASE_ERROR) } else { 0.0 };
        let (by, by_hz) = self.tracker.correct(phase_error, information, period_s);
        self.offset_hz += by_hz;
        let moved_hz = self.moved_hz();
        self.offset_hz = self.offset_hz.clamp(-0.5 - moved_hz, 0.5 - moved_hz);
        self.turn = self.offset_hz * period_s;
        let corrections = tones(by / TAU);
        for (harmonics, offs) in self.harmonics.iter_mut().zip(&offs) {
            for (k, (harmonic, (off, weight))) in harmonics.iter_mut().zip(offs).enumerate().take(harmonic_count) {
                let together = if harmonic.steady { ((k + 1) as f64 * phase_error) as f32 } else { 0.0 };
                let own = off.minus(harmonic.known.times(Amplitude { re: 0.0, im: together }));
                harmonic.known = harmonic.known.times(corrections[k]).plus(own.scaled(gain * weight));
            }
        }
    }

    /// The candidate at which the phases agree best.
    fn best(&self, harmonic_count: usize) -> BestCandidate {
        let (mut best, mut most) = (0, -1.0);
        // Wherever the oscillators are, the mains is within half a hertz.
        let from = (-self.moved).max(0) as usize;
        let until = (CANDIDATES as i32 - self.moved).min(CANDIDATES as i32) as usize;
        for candidate in from..until {
            let score = self.score(candidate, harmonic_count);
            if score > most {
                (best, most) = (candidate, score);
            }
        }
        let inner = best.clamp(1, CANDIDATES - 2);
        let around = [-1i32, 0, 1].map(|n| f64::from(self.score((inner as i32 + n) as usize, harmonic_count)));
        let aside = parabola::vertex(around).clamp(-1.0, 1.0);
        let offset_hz = offset_of(if inner == best { inner as f64 + aside } else { best as f64 });
        BestCandidate { candidate: best, score: most, offset_hz }
    }

    /// Starts from a candidate: its offset, and what its phases say of every harmonic.
    fn restart_from(&mut self, best: &BestCandidate, harmonic_count: usize, period_s: f64) {
        self.offset_hz = best.offset_hz;
        self.turn = best.offset_hz * period_s;
        self.since = 0;
        self.tracker = PhaseKalman::new(period_s);
        for harmonic in self.harmonics.iter_mut().flat_map(|harmonics| harmonics.iter_mut().take(harmonic_count)) {
            harmonic.known =
                harmonic.phases[best.candidate].scaled(harmonic.quartile / harmonic.weight.max(MIN_WEIGHT));
        }
    }

    /// Brings all harmonics to where they are taken to be; gives how far each is from there and what that counts, and what all
    /// together say of the fundamental's phase: the pull and the information in it.
    fn differences(
        &mut self,
        heard: &[[Amplitude; MAX_HARMONICS]; C],
        harmonic_count: usize,
    ) -> (Differences<C>, f64, f64) {
        let turns = tones(self.turn);
        let mut offs = [[(Amplitude::default(), 0.0f32); MAX_HARMONICS]; C];
        let (mut pull, mut information) = (0.0f64, 0.0f64);
        for k in 0..harmonic_count {
            // Channels add to each other before they add to anything else, so that their order does not matter.
            let (mut pulls, mut powers) = (0.0f64, 0.0f64);
            for (c, (harmonics, heard)) in self.harmonics.iter_mut().zip(heard).enumerate() {
                let harmonic = &mut harmonics[k];
                let was = harmonic.known.times(turns[k]);
                let off = heard[k].minus(was);
                let width = WIDTH * harmonic.own();
                let weight = 1.0 / (1.0 + off.power() / (width * width));
                offs[c][k] = (off, weight);
                harmonic.known = was;
                if harmonic.steady {
                    let certain = weight / (width * width);
                    pulls += f64::from(certain * (off.im * was.re - off.re * was.im));
                    powers += f64::from(certain * was.power());
                }
            }
            pull += (k + 1) as f64 * pulls;
            information += ((k + 1) * (k + 1)) as f64 * powers;
        }
        (offs, pull, information)
    }

    /// Moves the oscillators to the candidate next to the mains, so that a period is one of the mains and its other harmonics
    /// leave no trace in a harmonic: 0.5 Hz off, the tenth would leave a tenth of itself in the ninth.
    fn retune(&mut self, period_s: f64) {
        let by = libm::round(self.offset_hz / CANDIDATE_HZ) as i32;
        let known = self.harmonics.iter().flatten().any(|harmonic| harmonic.steady);
        if by == 0 || self.since < 4 || !known || libm::fabs(self.offset_hz) < 0.7 * CANDIDATE_HZ {
            return;
        }
        // Both frames agree at the end of the period, half a period behind what is known.
        let by_hz = f64::from(by) * CANDIDATE_HZ;
        let turns = tones(0.5 * by_hz * period_s);
        for harmonic in self.harmonics.iter_mut().flat_map(|harmonics| harmonics.iter_mut().enumerate()) {
            let (k, harmonic) = harmonic;
            harmonic.known = harmonic.known.times(turns[k]);
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
        self.offset_hz -= by_hz;
        self.turn = self.offset_hz * period_s;
        self.since = 0;
    }

    /// Opens the harmonics that are hum, and closes all when the hum has stopped.
    fn update_removal(&mut self, heard: &[[Amplitude; MAX_HARMONICS]; C], harmonic_count: usize, sounds: bool) {
        let nearest = nearest(self.offset_hz);
        let young = libm::sqrtf(8.0 / self.periods as f32);
        let enough = if young > STEADY { young } else { STEADY };
        let (mut is, mut known) = (0.0f32, 0.0f32);
        for k in 0..harmonic_count {
            is += heard.iter().map(|heard| heard[k].power()).sum::<f32>();
            known +=
                self.harmonics.iter().map(|harmonics| harmonics[k].removal * harmonics[k].known.power()).sum::<f32>();
        }
        let stopped = !sounds || is < 0.1 * known;
        let early = self.periods < MIN_PERIODS;
        for harmonics in &mut self.harmonics {
            for (k, harmonic) in harmonics.iter_mut().enumerate() {
                let agreement = harmonic.phases[nearest].magnitude();
                harmonic.steady = k < harmonic_count
                    && !early
                    && agreement
                        > if harmonic.locked {
                            UNLOCK_COHERENCE
                        } else if harmonic.steady {
                            UNSTEADY
                        } else {
                            enough
                        };
                harmonic.locked = harmonic.steady && (harmonic.locked || agreement > LOCK_COHERENCE);
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

/// The candidate nearest to an offset, Hz.
fn nearest(offset_hz: f64) -> usize {
    let place = offset_hz / CANDIDATE_HZ + 0.5 * (CANDIDATES - 1) as f64;
    libm::round(place.clamp(0.0, (CANDIDATES - 1) as f64)) as usize
}

/// The offset of a candidate, Hz.
fn offset_of(candidate: f64) -> f64 {
    (candidate - 0.5 * (CANDIDATES - 1) as f64) * CANDIDATE_HZ
}
