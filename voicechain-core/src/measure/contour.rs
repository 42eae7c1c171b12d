//! The pitch from frame to frame, among all that the frames offer.

use super::periods::{PERIODS, Period, Periods};

/// What being unvoiced counts, as the likeness of a period.
const UNVOICED: f32 = 0.6;
/// What a jump costs per octave, and what it costs to begin or end being voiced.
const JUMP: f32 = 0.175;
const TURN: f32 = 0.07;
/// What cannot be.
const NEVER: f32 = -1e6;
/// Frames after which a decision is final: 0.24 s.
const DELAY: usize = 12;
/// Ways to go on: one per period, and the last is unvoiced.
const WAYS: usize = PERIODS + 1;

/// A frame as it was heard, with the way that led to each of its own.
#[derive(Clone, Copy, Debug)]
struct Heard {
    level_db: f64,
    periods: Periods,
    from: [u8; WAYS],
}

/// The best way through the periods of successive frames (Viterbi's algorithm; costs of this kind as in Boersma 1993,
/// Proc. Inst. Phonetic Sciences 17, from memory): the sum of likenesses less what jumps and turns cost is largest.
///
/// A decision is final [`DELAY`] frames later; what is best so far is known at once. Memory 1 kB.
#[derive(Clone, Debug)]
pub(super) struct Contour {
    /// The last frames in a ring; the newest is at `(count - 1) % DELAY`.
    heard: [Heard; DELAY],
    count: usize,
    /// The sums along the best way to each way of the newest frame, less the largest of them.
    sums: [f32; WAYS],
}

impl Contour {
    pub(super) fn new() -> Self {
        let nothing = Heard { level_db: 0.0, periods: [None; PERIODS], from: [0; WAYS] };
        Self { heard: [nothing; DELAY], count: 0, sums: [0.0; WAYS] }
    }

    /// Takes a frame; gives the oldest, which is now decided, when there are enough.
    pub(super) fn push(&mut self, level_db: f64, periods: Periods) -> Option<(f64, Option<f32>)> {
        let decided = (self.count >= DELAY).then(|| self.back(DELAY - 1));
        let before = self.newest().periods;
        let (mut sums, mut from) = ([NEVER; WAYS], [0; WAYS]);
        for (way, (sum, from)) in sums.iter_mut().zip(&mut from).enumerate() {
            let to = periods.get(way).copied().flatten();
            if to.is_none() && way < PERIODS {
                continue;
            }
            for (past, &so_far) in self.sums.iter().enumerate() {
                let cost = if self.count == 0 { 0.0 } else { cost(before.get(past).copied().flatten(), to) };
                if so_far - cost > *sum {
                    (*sum, *from) = (so_far - cost, past as u8);
                }
            }
            *sum += to.map_or(UNVOICED, |period| period.rank());
        }
        let most = sums.iter().fold(NEVER, |most, &sum| most.max(sum));
        self.sums = sums.map(|sum| (sum - most).max(NEVER));
        self.heard[self.count % DELAY] = Heard { level_db, periods, from };
        self.count += 1;
        if self.count == 2 * DELAY {
            // The count is only needed as a place in the ring and as "enough".
            self.count = DELAY;
        }
        decided
    }

    /// The frame before the newest, the newest being 0, on the way that is best so far.
    fn back(&self, frames: usize) -> (f64, Option<f32>) {
        let mut way = self.best();
        let at = |ago: usize| &self.heard[(self.count + DELAY - 1 - ago) % DELAY];
        for ago in 0..frames {
            way = usize::from(at(ago).from[way]);
        }
        let frame = at(frames);
        (frame.level_db, frame.periods.get(way).copied().flatten().map(|period| period.hz))
    }

    /// The pitch of the newest frame, as far as is known by now; `None` when it is unvoiced.
    pub(super) fn now(&self) -> Option<f32> {
        if self.count == 0 { None } else { self.back(0).1 }
    }

    /// The frames that are not decided yet, as they are best so far: level and pitch.
    pub(super) fn pending(&self) -> impl Iterator<Item = (f64, Option<f32>)> {
        (0..self.count.min(DELAY)).map(|ago| self.back(ago))
    }

    fn newest(&self) -> &Heard {
        &self.heard[(self.count + DELAY - 1) % DELAY]
    }

    fn best(&self) -> usize {
        let mut best = WAYS - 1;
        for (way, &sum) in self.sums.iter().enumerate() {
            if sum > self.sums[best] {
                best = way;
            }
        }
        best
    }
}

/// What it costs to go from one frame's way to the next frame's, `None` being unvoiced.
fn cost(from: Option<Period>, to: Option<Period>) -> f32 {
    match (from, to) {
        (None, None) => 0.0,
        (Some(from), Some(to)) => JUMP * libm::fabsf(libm::log2f(from.hz / to.hz)),
        _ => TURN,
    }
}
