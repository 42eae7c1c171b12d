//! What is known about the lines of the mains family, period by period.

use crate::dsp::{Complex, Complex4, parabola};
use core::f64::consts::TAU;
use wide::f32x4;

/// The most lines of the family that are taken out.
pub const MOST_LINES: usize = 20;
/// Vectors of four lines.
pub(super) const VECTORS: usize = MOST_LINES / 4;
/// Time constant of what is known about a line, s.
pub(super) const MEAN_S: f64 = 1.0;
/// Time constant of the agreement of phases, s.
const AGREEMENT_S: f64 = 0.6;
/// Offsets of the mains frequency that are tried, and their distance, Hz.
const CANDIDATES: usize = 25;
const CANDIDATE_HZ: f64 = 0.5 / 12.0;
/// A line is hum when its phases agree so well (1: all are the same), and no more when they agree less than the second
/// number. Of noise 60 independent phases agree by 0.13; a chance of 1e-7 that they agree by 0.5.
const STEADY: f32 = 0.6;
const UNSTEADY: f32 = 0.4;
/// Phases that agree so well are known from then on, until they agree less than the second number. Both, and what a known
/// line may differ by, were set with all recorded voices in view.
const SURE: f32 = 0.8;
const LOST: f32 = 0.2;
/// Periods before anything is said.
const FIRST: u32 = 15;
/// What differs from a line by so many of its usual magnitudes has half the weight.
const WIDTH: f32 = 0.35;
/// A known line may be so many times as large as it is known.
const OWN: f32 = 1.25;
/// How far the loop may be from the best candidate before it starts from there, Hz.
const LOST_HZ: f64 = 0.03;
/// ... and so much more the phases have to agree there, where hum is known.
const CLEARER: f32 = 1.3;
/// How well the fundamental's phase and frequency are known when they come from a candidate: rad, Hz.
const FIRST_PHASE: f64 = 0.3;
const FIRST_HZ: f64 = 0.1;
/// How far the mains frequency wanders in a second, Hz (common practice, no source: grids move by some millihertz).
const WANDER_HZ: f64 = 0.001;
/// What all lines are late by in a period is no more than this, rad.
const MOST_LATE: f64 = 0.3;
/// Magnitudes that are remembered, every other period: 2 s.
const MEMORY: usize = 48;
/// Less of an agreement is not reckoned with.
const LEAST_WEIGHT: f32 = 1e-3;
/// Digital silence.
const NOTHING: f32 = 1e-7;

/// A complex amplitude of one line.
type Amplitude = Complex<f32>;

/// Adds a sample times the conjugate of a tone to a sum, for four lines.
#[inline(always)]
pub(super) fn gather(sum: &mut Complex4, tone: Complex4, sample: f32) {
    let x = f32x4::splat(sample);
    sum.re += x * tone.re;
    sum.im -= x * tone.im;
}

/// `exp(j TAU cycles k)` of every line `k`.
fn tones(cycles: f64) -> [Amplitude; MOST_LINES] {
    core::array::from_fn(|k| {
        let turns = cycles * (k + 1) as f64;
        Complex::at(turns - libm::floor(turns))
    })
}

fn vectors(lines: &[Amplitude; MOST_LINES]) -> [Complex4; VECTORS] {
    core::array::from_fn(|j| [0, 1, 2, 3].map(|k| lines[4 * j + k]).into())
}

/// The oscillators of all lines, where the fundamental has gone through so many cycles.
pub(super) fn oscillators(cycles: f64) -> [Complex4; VECTORS] {
    vectors(&tones(cycles))
}

/// What the oscillators turn by per sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Steps(pub(super) [Complex4; VECTORS]);

impl Steps {
    pub(super) fn new(cycles_per_sample: f64) -> Self {
        Self(oscillators(cycles_per_sample))
    }
}

/// A line of one channel.
#[derive(Clone, Copy, Debug)]
struct Line {
    /// Its amplitude at the middle of the last period, in the frame of the nominal frequency.
    known: Amplitude,
    /// The quartile of the magnitudes: hum without a voice over it.
    usual: f32,
    /// How far it is taken out, 0 to 1.
    open: f32,
    steady: bool,
    /// Its phases have agreed so well that it is known whatever lies over it.
    sure: bool,
    memory: [f32; MEMORY],
    /// How much of the agreement has been heard, 0 to 1.
    weight: f32,
    /// Mean phase at each candidate offset.
    phases: [Amplitude; CANDIDATES],
    /// What is taken out at the beginning of the period, and how far that is from where the line is taken to be.
    jump: Amplitude,
}

impl Line {
    const NEW: Self = Self {
        known: Amplitude { re: 0.0, im: 0.0 },
        usual: 0.0,
        open: 0.0,
        steady: false,
        sure: false,
        memory: [0.0; MEMORY],
        weight: 0.0,
        phases: [Amplitude { re: 0.0, im: 0.0 }; CANDIDATES],
        jump: Amplitude { re: 0.0, im: 0.0 },
    };

    /// The magnitude of hum alone. Of a line that is known it is its own: a voice that speaks on leaves no quiet quartile.
    fn own(&self) -> f32 {
        let known = OWN * self.known.magnitude();
        if self.sure && known < self.usual { known.max(NOTHING) } else { self.usual }
    }
}

/// How well phase and frequency of the fundamental are known: a Kalman filter of two states whose measurement is what all
/// lines are late by together (the textbook's for a frequency that walks at random:
/// Bar-Shalom, Li, Kirubarajan 2001, chapter 6, from memory).
#[derive(Clone, Copy, Debug)]
struct Clock {
    /// Covariance: phase, phase and turn, turn; radians and radians per period.
    phase: f64,
    both: f64,
    turn: f64,
}

impl Clock {
    fn new(period_s: f64) -> Self {
        let turn = TAU * FIRST_HZ * period_s;
        Self { phase: FIRST_PHASE * FIRST_PHASE, both: 0.0, turn: turn * turn }
    }

    /// Takes a period's measurement, the fundamental `late` by so many radians with the variance `1 / information`; gives the
    /// corrections of phase, rad, and frequency, Hz.
    fn correct(&mut self, late: f64, information: f64, period_s: f64) -> (f64, f64) {
        let wander = TAU * WANDER_HZ * period_s;
        let (phase, both) = (self.phase + 2.0 * self.both + self.turn, self.both + self.turn);
        let turn = self.turn + wander * wander * period_s;
        let doubt = 1.0 / (1.0 + phase * information);
        self.phase = phase * doubt;
        self.both = both * doubt;
        self.turn = turn - both * both * information * doubt;
        let pull = doubt * information * late;
        (phase * pull, both * pull / (TAU * period_s))
    }
}

/// A candidate for the mains frequency.
#[derive(Clone, Copy, Debug)]
struct Best {
    candidate: usize,
    score: f32,
    /// Its offset, refined between candidates, Hz.
    offset_hz: f64,
}

/// How far every line is from where it was taken to be, and what that counts.
type Differences<const C: usize> = [[(Amplitude, f32); MOST_LINES]; C];

/// All lines of all channels.
#[derive(Clone, Debug)]
pub(super) struct Lines<const C: usize> {
    lines: [[Line; MOST_LINES]; C],
    /// Offset of the mains from its nominal frequency, Hz, and in cycles per period.
    offset_hz: f64,
    turn: f64,
    clock: Clock,
    share: f32,
    /// How far the oscillators have been moved from the nominal frequency, in candidates.
    moved: i32,
    periods: u32,
    /// Periods since the frequency was last taken from a candidate.
    since: u32,
    remembered: usize,
    silent: bool,
}

impl<const C: usize> Lines<C> {
    pub(super) fn new() -> Self {
        Self {
            lines: [[Line::NEW; MOST_LINES]; C],
            offset_hz: 0.0,
            turn: 0.0,
            clock: Clock { phase: 0.0, both: 0.0, turn: 0.0 },
            share: 0.0,
            moved: 0,
            periods: 0,
            since: 0,
            remembered: 0,
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

    pub(super) fn any_open(&self) -> bool {
        self.lines.iter().flatten().any(|line| line.steady)
    }

    /// True when nothing is taken out in this period.
    pub(super) fn is_silent(&self) -> bool {
        self.silent
    }

    /// Mean square of what is taken out of the channel that has most of it.
    pub(super) fn taken(&self) -> f64 {
        let of = |line: &Line| 0.5 * f64::from(line.known.scaled(self.share * line.open).power());
        self.lines.iter().map(|lines| lines.iter().map(of).sum()).fold(0.0, f64::max)
    }

    /// Goes to nothing within the next period.
    pub(super) fn close(&mut self) {
        let ends = self.ends();
        for (line, end) in self.lines.iter_mut().flatten().zip(ends.iter().flatten()) {
            (line.open, line.jump) = (0.0, *end);
        }
        self.silent = self.lines.iter().flatten().all(|line| line.jump.power() == 0.0);
    }

    /// Turns time round, `periods` after the beginning of the last period that was heard: what was learnt backwards holds for the
    /// sound forwards. Then a line has the same frequency and the conjugate amplitude; it is turned to the middle of the period
    /// that ends here.
    pub(super) fn turn_round(&mut self, periods: f64, period_s: f64) {
        let turns = tones(-self.turn * periods);
        for lines in &mut self.lines {
            for (line, turn) in lines.iter_mut().zip(turns) {
                line.known = line.known.conjugate().times(turn);
                line.jump = Amplitude::default();
            }
        }
        for candidate in 0..CANDIDATES {
            let turns = tones(-offset_of(candidate as f64) * period_s * periods);
            for lines in &mut self.lines {
                for (line, turn) in lines.iter_mut().zip(turns) {
                    line.phases[candidate] = line.phases[candidate].conjugate().times(turn);
                }
            }
        }
        self.clock.both = -self.clock.both;
        self.silent = self.lines.iter().flatten().all(|line| line.open == 0.0);
    }

    /// What is to be taken out of a line, turned from the middle of the last period to where it is wanted.
    fn place(&self, line: &Line, turns: Amplitude) -> Amplitude {
        line.known.times(turns).scaled(self.share * line.open)
    }

    /// What is taken out at a share of the running period, for all lines.
    pub(super) fn amplitudes(&self, after: f64) -> [[Complex4; VECTORS]; C] {
        let turns = tones(self.turn * (0.5 + after));
        let left = (1.0 - after) as f32;
        core::array::from_fn(|c| {
            let at: [Amplitude; MOST_LINES] = core::array::from_fn(|k| {
                let line = &self.lines[c][k];
                self.place(line, turns[k]).plus(line.jump.scaled(left))
            });
            vectors(&at)
        })
    }

    /// What was taken out at the end of the running period.
    fn ends(&self) -> [[Amplitude; MOST_LINES]; C] {
        let turns = tones(self.turn * 1.5);
        core::array::from_fn(|c| core::array::from_fn(|k| self.place(&self.lines[c][k], turns[k])))
    }

    /// Takes the sums of one period of so many samples.
    pub(super) fn hear(
        &mut self,
        sums: &[[Complex4; VECTORS]; C],
        period: u32,
        rate_hz: f64,
        harmonics: usize,
        share: f64,
    ) {
        let ends = self.ends();
        let period_s = f64::from(period) / rate_hz;
        self.periods = self.periods.saturating_add(1);
        self.since = self.since.saturating_add(1);
        self.share = share as f32;
        let scale = 2.0 / period as f32;
        let heard: [[Amplitude; MOST_LINES]; C] = core::array::from_fn(|c| {
            core::array::from_fn(|k| {
                let pair = &sums[c][k / 4];
                let (re, im) = (pair.re.to_array(), pair.im.to_array());
                Amplitude { re: scale * re[k % 4], im: scale * im[k % 4] }
            })
        });
        let sounds = heard.iter().flatten().any(|d| d.power() > NOTHING * NOTHING);
        if sounds {
            self.remember(&heard, harmonics);
            self.agree(&heard, harmonics, period_s);
            self.follow(&heard, harmonics, period_s);
        }
        self.decide(&heard, harmonics, sounds);
        self.approach(period_s);
        // Only now the beginning of the next period is where it is.
        let turns = tones(self.turn * 0.5);
        self.silent = true;
        for (c, ends) in ends.iter().enumerate() {
            for k in 0..MOST_LINES {
                let begin = self.place(&self.lines[c][k], turns[k]);
                let line = &mut self.lines[c][k];
                line.jump = ends[k].minus(begin);
                self.silent &= line.open == 0.0 && line.jump.power() == 0.0;
            }
        }
    }

    /// Keeps magnitudes, and finds the quartile of a quarter of the lines.
    fn remember(&mut self, heard: &[[Amplitude; MOST_LINES]; C], harmonics: usize) {
        let first = self.remembered == 0;
        if self.periods.is_multiple_of(2) || first {
            let at = self.remembered % MEMORY;
            for (lines, heard) in self.lines.iter_mut().zip(heard) {
                for (line, d) in lines.iter_mut().zip(heard) {
                    line.memory[at] = d.magnitude();
                }
            }
            self.remembered += 1;
            // The count stays small and the place in the ring right.
            if self.remembered == 2 * MEMORY {
                self.remembered = MEMORY;
            }
        }
        let count = self.remembered.min(MEMORY);
        let young = count < 16;
        for lines in &mut self.lines {
            for (k, line) in lines.iter_mut().enumerate().take(harmonics) {
                if young || k as u32 % 4 == self.periods % 4 {
                    let mut sorted = line.memory;
                    let (_, quartile, _) = sorted[..count].select_nth_unstable_by(count / 4, f32::total_cmp);
                    line.usual = quartile.max(NOTHING);
                }
            }
        }
    }

    /// Brings the agreement of phases up to date at every candidate. A period counts, and lets the past fade, as far as it may
    /// be the hum alone: while a voice lies over a line its agreement stands still.
    fn agree(&mut self, heard: &[[Amplitude; MOST_LINES]; C], harmonics: usize, period_s: f64) {
        let kept = libm::exp(-period_s / AGREEMENT_S) as f32;
        let mut units = [[(Amplitude::default(), 1.0); MOST_LINES]; C];
        for c in 0..C {
            for k in 0..harmonics {
                let (d, usual) = (heard[c][k], self.lines[c][k].own());
                let size = d.magnitude();
                let most = if size > usual { size } else { usual };
                // A known line is told by its size: what is larger is a voice.
                let alike = usual / most;
                let weight = (1.0 - kept) * if self.lines[c][k].sure { alike * alike * alike } else { alike };
                units[c][k] = (d.scaled(weight / most), 1.0 - weight);
                let line = &mut self.lines[c][k];
                line.weight += weight * (1.0 - line.weight);
            }
        }
        for candidate in 0..CANDIDATES {
            let turn = Complex::at(offset_of(candidate as f64) * period_s);
            let mut turns = turn;
            for k in 0..harmonics {
                for (lines, units) in self.lines.iter_mut().zip(&units) {
                    let phase = &mut lines[k].phases[candidate];
                    let (unit, kept) = units[k];
                    *phase = phase.times(turns).scaled(kept).plus(unit);
                }
                turns = turns.times(turn);
            }
        }
    }

    /// How much the phases of all lines agree at a candidate.
    fn score(&self, candidate: usize, harmonics: usize) -> f32 {
        (0..harmonics).map(|k| self.lines.iter().map(|lines| lines[k].phases[candidate].power()).sum::<f32>()).sum()
    }

    /// Follows the frequency, and learns the amplitudes.
    fn follow(&mut self, heard: &[[Amplitude; MOST_LINES]; C], harmonics: usize, period_s: f64) {
        let best = self.best(harmonics);
        let lost = libm::fabs(best.offset_hz - self.offset_hz) > LOST_HZ
            && (!self.lines.iter().flatten().any(|line| line.sure)
                || best.score > CLEARER * self.score(nearest(self.offset_hz), harmonics));
        if self.periods <= FIRST || lost {
            self.start_from(&best, harmonics, period_s);
            return;
        }
        let mean = (period_s / MEAN_S) as f32;
        let quick = 1.0 / (8.0 + self.since as f32);
        let gain = if quick > mean { quick } else { mean };
        let (offs, pull, information) = self.differences(heard, harmonics);
        // What all lines are late by together is the mains'; the rest is each line's own.
        let late = if information > 0.0 { (pull / information).clamp(-MOST_LATE, MOST_LATE) } else { 0.0 };
        let (by, by_hz) = self.clock.correct(late, information, period_s);
        self.offset_hz += by_hz;
        let moved_hz = self.moved_hz();
        self.offset_hz = self.offset_hz.clamp(-0.5 - moved_hz, 0.5 - moved_hz);
        self.turn = self.offset_hz * period_s;
        let corrections = tones(by / TAU);
        for (lines, offs) in self.lines.iter_mut().zip(&offs) {
            for (k, (line, (off, weight))) in lines.iter_mut().zip(offs).enumerate().take(harmonics) {
                let together = if line.steady { ((k + 1) as f64 * late) as f32 } else { 0.0 };
                let own = off.minus(line.known.times(Amplitude { re: 0.0, im: together }));
                line.known = line.known.times(corrections[k]).plus(own.scaled(gain * weight));
            }
        }
    }

    /// The candidate at which the phases agree best.
    fn best(&self, harmonics: usize) -> Best {
        let (mut best, mut most) = (0, -1.0);
        // Wherever the oscillators are, the mains is within half a hertz.
        let from = (-self.moved).max(0) as usize;
        let until = (CANDIDATES as i32 - self.moved).min(CANDIDATES as i32) as usize;
        for candidate in from..until {
            let score = self.score(candidate, harmonics);
            if score > most {
                (best, most) = (candidate, score);
            }
        }
        let inner = best.clamp(1, CANDIDATES - 2);
        let around = [-1i32, 0, 1].map(|n| f64::from(self.score((inner as i32 + n) as usize, harmonics)));
        let aside = parabola::vertex(around).clamp(-1.0, 1.0);
        let offset_hz = offset_of(if inner == best { inner as f64 + aside } else { best as f64 });
        Best { candidate: best, score: most, offset_hz }
    }

    /// Starts from a candidate: its offset, and what its phases say of every line.
    fn start_from(&mut self, best: &Best, harmonics: usize, period_s: f64) {
        self.offset_hz = best.offset_hz;
        self.turn = best.offset_hz * period_s;
        self.since = 0;
        self.clock = Clock::new(period_s);
        for line in self.lines.iter_mut().flat_map(|lines| lines.iter_mut().take(harmonics)) {
            line.known = line.phases[best.candidate].scaled(line.usual / line.weight.max(LEAST_WEIGHT));
        }
    }

    /// Brings all lines to where they are taken to be; gives how far each is from there and what that counts, and what all
    /// together say of the fundamental's phase: the pull and the information in it.
    fn differences(&mut self, heard: &[[Amplitude; MOST_LINES]; C], harmonics: usize) -> (Differences<C>, f64, f64) {
        let turns = tones(self.turn);
        let mut offs = [[(Amplitude::default(), 0.0f32); MOST_LINES]; C];
        let (mut pull, mut information) = (0.0f64, 0.0f64);
        for k in 0..harmonics {
            // Channels add to each other before they add to anything else, so that their order does not matter.
            let (mut pulls, mut powers) = (0.0f64, 0.0f64);
            for (c, (lines, heard)) in self.lines.iter_mut().zip(heard).enumerate() {
                let line = &mut lines[k];
                let was = line.known.times(turns[k]);
                let off = heard[k].minus(was);
                let width = WIDTH * line.own();
                let weight = 1.0 / (1.0 + off.power() / (width * width));
                offs[c][k] = (off, weight);
                line.known = was;
                if line.steady {
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

    /// Moves the oscillators to the candidate next to the mains, so that a period is one of the mains and its other lines
    /// leave no trace in a line: 0.5 Hz off, the tenth would leave a tenth of itself in the ninth.
    fn approach(&mut self, period_s: f64) {
        let by = libm::round(self.offset_hz / CANDIDATE_HZ) as i32;
        let known = self.lines.iter().flatten().any(|line| line.steady);
        if by == 0 || self.since < 4 || !known || libm::fabs(self.offset_hz) < 0.7 * CANDIDATE_HZ {
            return;
        }
        // Both frames agree at the end of the period, half a period behind what is known.
        let by_hz = f64::from(by) * CANDIDATE_HZ;
        let turns = tones(0.5 * by_hz * period_s);
        for line in self.lines.iter_mut().flat_map(|lines| lines.iter_mut().enumerate()) {
            let (k, line) = line;
            line.known = line.known.times(turns[k]);
            let phases = line.phases;
            for (candidate, phase) in line.phases.iter_mut().enumerate() {
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

    /// Opens the lines that are hum, and closes all when the hum has stopped.
    fn decide(&mut self, heard: &[[Amplitude; MOST_LINES]; C], harmonics: usize, sounds: bool) {
        let nearest = nearest(self.offset_hz);
        let young = libm::sqrtf(8.0 / self.periods as f32);
        let enough = if young > STEADY { young } else { STEADY };
        let (mut is, mut known) = (0.0f32, 0.0f32);
        for k in 0..harmonics {
            is += heard.iter().map(|heard| heard[k].power()).sum::<f32>();
            known += self.lines.iter().map(|lines| lines[k].open * lines[k].known.power()).sum::<f32>();
        }
        let stopped = !sounds || is < 0.1 * known;
        let early = self.periods < FIRST;
        for lines in &mut self.lines {
            for (k, line) in lines.iter_mut().enumerate() {
                let agreement = line.phases[nearest].magnitude();
                line.steady = k < harmonics
                    && !early
                    && agreement
                        > if line.sure {
                            LOST
                        } else if line.steady {
                            UNSTEADY
                        } else {
                            enough
                        };
                line.sure = line.steady && (line.sure || agreement > SURE);
                if stopped || k >= harmonics {
                    line.open = 0.0;
                } else if line.steady {
                    line.open += 0.35 * (1.0 - line.open);
                } else {
                    line.open = if line.open < 1e-3 { 0.0 } else { 0.65 * line.open };
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
