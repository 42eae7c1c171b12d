//! The pitch from frame to frame, among all that the frames offer.

use super::periods::{MAX_PERIODS, Period, Periods};

/// What being unvoiced counts, as the likeness of a period.
const UNVOICED_STRENGTH: f32 = 0.6;
/// What a jump costs per octave, and what it costs to begin or end being voiced.
const OCTAVE_JUMP_COST: f32 = 0.175;
const VOICING_TRANSITION_COST: f32 = 0.07;
/// What cannot be.
const IMPOSSIBLE: f32 = -1e6;
/// Frames after which a decision is final: 0.24 s.
const DELAY: usize = 12;
/// States: one per period, and the last is unvoiced.
const STATES: usize = MAX_PERIODS + 1;

/// A frame, with the state that each of its own came from.
#[derive(Clone, Copy, Debug)]
struct Frame {
    level_db: f64,
    periods: Periods,
    from: [u8; STATES],
}

/// The best path through the periods of successive frames (Viterbi's algorithm; costs of this kind as in Boersma 1993,
/// Proc. Inst. Phonetic Sciences 17, from memory): the sum of likenesses less what jumps and turns cost is largest.
///
/// A decision is final [`DELAY`] frames later; what is best so far is known at once. Memory 1 kB.
#[derive(Clone, Debug)]
pub(super) struct PitchContour {
    /// The last frames in a ring; the newest is at `(count - 1) % DELAY`.
    frames: [Frame; DELAY],
    count: usize,
    /// The sums along the best path to each state of the newest frame, less the largest of them.
    sums: [f32; STATES],
}

impl PitchContour {
    pub(super) fn new() -> Self {
        let nothing = Frame { level_db: 0.0, periods: [None; MAX_PERIODS], from: [0; STATES] };
        Self { frames: [nothing; DELAY], count: 0, sums: [0.0; STATES] }
    }

    /// Takes a frame; gives the oldest, which is now decided, when there are enough.
    pub(super) fn push(&mut self, level_db: f64, periods: Periods) -> Option<(f64, Option<f32>)> {
        let decided = (self.count >= DELAY).then(|| self.back(DELAY - 1));
        let before = self.newest().periods;
        let (mut sums, mut from) = ([IMPOSSIBLE; STATES], [0; STATES]);
        for (state, (sum, from)) in sums.iter_mut().zip(&mut from).enumerate() {
            let to = periods.get(state).copied().flatten();
            if to.is_none() && state < MAX_PERIODS {
                continue;
            }
            for (past, &so_far) in self.sums.iter().enumerate() {
                let cost = if self.count == 0 { 0.0 } else { cost(before.get(past).copied().flatten(), to) };
                if so_far - cost > *sum {
                    (*sum, *from) = (so_far - cost, past as u8);
                }
            }
            *sum += to.map_or(UNVOICED_STRENGTH, |period| period.rank());
        }
        let most = sums.iter().fold(IMPOSSIBLE, |most, &sum| most.max(sum));
        self.sums = sums.map(|sum| (sum - most).max(IMPOSSIBLE));
        self.frames[self.count % DELAY] = Frame { level_db, periods, from };
        self.count += 1;
        if self.count == 2 * DELAY {
            // The count is only needed as a place in the ring and as "enough".
            self.count = DELAY;
        }
        decided
    }

    /// The frame before the newest, the newest being 0, on the path that is best so far.
    fn back(&self, age: usize) -> (f64, Option<f32>) {
        let mut state = self.best();
        let at = |ago: usize| &self.frames[(self.count + DELAY - 1 - ago) % DELAY];
        for ago in 0..age {
            state = usize::from(at(ago).from[state]);
        }
        let frame = at(age);
        (frame.level_db, frame.periods.get(state).copied().flatten().map(|period| period.hz))
    }

    /// The pitch of the newest frame, as far as is known by now; `None` when it is unvoiced.
    pub(super) fn now(&self) -> Option<f32> {
        if self.count == 0 { None } else { self.back(0).1 }
    }

    /// The frames that are not decided yet, as they are best so far: level and pitch.
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

/// What it costs to go from one frame's state to the next frame's, `None` being unvoiced.
fn cost(from: Option<Period>, to: Option<Period>) -> f32 {
    match (from, to) {
        (None, None) => 0.0,
        (Some(from), Some(to)) => OCTAVE_JUMP_COST * libm::fabsf(libm::log2f(from.hz / to.hz)),
        _ => VOICING_TRANSITION_COST,
    }
}
