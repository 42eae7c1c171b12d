//! Pitch contour: selection among the candidate periods of successive frames.

use super::periods::{MAX_PERIODS, Period, Periods};
use crate::blank::blank;

/// Score of the unvoiced state, comparable to the correlation of a period.
const UNVOICED_STRENGTH: f32 = 0.6;
/// Cost of a pitch jump, per octave.
const OCTAVE_JUMP_COST: f32 = 0.175;
/// Cost of a transition between voiced and unvoiced.
const VOICING_TRANSITION_COST: f32 = 0.07;
/// Score of an impossible state.
const IMPOSSIBLE: f32 = -1e6;
/// Frames after which a decision is final: 0.24 s.
const DELAY: usize = 12;
/// Number of states: one per candidate, and unvoiced last.
const STATES: usize = MAX_PERIODS + 1;

/// Frame with the best predecessor of each of its states.
#[derive(Clone, Copy, Debug)]
struct Frame {
    level_db: f64,
    periods: Periods,
    from: [u8; STATES],
}

blank! { Frame { level_db, periods, from } }

/// Best path through the candidates of successive frames (Viterbi algorithm): maximises the sum of scores less the
/// costs of jumps and transitions. Costs as in Boersma 1993, Proc. Inst. Phonetic Sciences 17, from memory.
///
/// A decision is final [`DELAY`] frames later; the best path so far is available at once. Memory 1 kB.
#[derive(Clone, Debug)]
pub(super) struct PitchContour {
    /// Latest frames, a ring buffer; the newest is at `(count - 1) % DELAY`.
    frames: [Frame; DELAY],
    count: usize,
    /// Scores of the best path to each state of the newest frame, relative to the highest.
    sums: [f32; STATES],
}

blank! { PitchContour { frames, count, sums } }

impl PitchContour {
    /// Processes a frame. Returns the oldest frame, now decided, once enough frames are stored: its level and pitch.
    pub(super) fn push(&mut self, level_db: f64, periods: Periods) -> Option<(f64, Option<f32>)> {
        let decided = (self.count >= DELAY).then(|| self.back(DELAY - 1));
        let before = self.newest().periods;
        let (mut sums, mut from) = ([IMPOSSIBLE; STATES], [0; STATES]);
        for (state, (sum, from)) in sums.iter_mut().zip(&mut from).enumerate() {
            let to = periods.get(state).copied().flatten();
            if to.is_none() && state < MAX_PERIODS {
                continue;
            }
            for (past, &score) in self.sums.iter().enumerate() {
                let cost = if self.count == 0 { 0.0 } else { cost(before.get(past).copied().flatten(), to) };
                if score - cost > *sum {
                    (*sum, *from) = (score - cost, past as u8);
                }
            }
            *sum += to.map_or(UNVOICED_STRENGTH, |period| period.rank());
        }
        let most = sums.iter().fold(IMPOSSIBLE, |most, &sum| most.max(sum));
        self.sums = sums.map(|sum| (sum - most).max(IMPOSSIBLE));
        self.frames[self.count % DELAY] = Frame { level_db, periods, from };
        self.count += 1;
        if self.count == 2 * DELAY {
            // The count only serves as ring position and to indicate a full ring.
            self.count = DELAY;
        }
        decided
    }

    /// Level and pitch of the frame `age` frames before the newest, on the best path so far.
    fn back(&self, age: usize) -> (f64, Option<f32>) {
        let mut state = self.best();
        let at = |ago: usize| &self.frames[(self.count + DELAY - 1 - ago) % DELAY];
        for ago in 0..age {
            state = usize::from(at(ago).from[state]);
        }
        let frame = at(age);
        (frame.level_db, frame.periods.get(state).copied().flatten().map(|period| period.hz))
    }

    /// Pitch of the newest frame on the best path so far; `None` if unvoiced.
    pub(super) fn now(&self) -> Option<f32> {
        if self.count == 0 { None } else { self.back(0).1 }
    }

    /// Level and pitch of the undecided frames, on the best path so far.
    pub(super) fn pending(&self) -> impl Iterator<Item = (f64, Option<f32>)> {
        (0..self.count.min(DELAY)).map(|ago| self.back(ago))
    }

    fn newest(&self) -> &Frame {
        &self.frames[(self.count + DELAY - 1) % DELAY]
    }

    fn best(&self) -> usize {
        let mut best = STATES - 1;
        for (state, &sum) in self.sums.iter().enumerate() {
            if sum > self.sums[best] {
                best = state;
            }
        }
        best
    }
}

/// Cost of the transition between the states of successive frames; `None` is unvoiced.
fn cost(from: Option<Period>, to: Option<Period>) -> f32 {
    match (from, to) {
        (None, None) => 0.0,
        (Some(from), Some(to)) => OCTAVE_JUMP_COST * libm::fabsf(libm::log2f(from.hz / to.hz)),
        _ => VOICING_TRANSITION_COST,
    }
}
