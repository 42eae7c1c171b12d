//! Level ledger: loudness change per stage, LU.

use super::gating::{GatedSums, loudness};
use crate::blank::blank;
use crate::dsp::SubBlockClock;
use crate::filters::k_weighting::{self, KWeighting, KWeightingState};
use crate::frame::CHUNK;
use crate::units::SampleRate;

/// Histogram bins over 80 LU. The sums in a bin are exact, so the bin width only matters at the gate.
const BINS: usize = 120;
/// Sub-blocks per hop of 100 ms, and hops per gating block.
const PER_HOP: u64 = 10;
const HOPS: usize = 4;
/// Relative gate, LU (ITU-R BS.1770 Annex 1, eq. 7).
const RELATIVE_GATE: f64 = -10.0;

/// Maximum number of groups of points with a delay of their own.
const GROUPS: usize = 3;

/// Neighbouring points with the same delay.
#[derive(Clone, Copy, Debug)]
struct Group {
    from: usize,
    until: usize,
    /// Frames that the group still has to skip.
    skip: usize,
    clock: SubBlockClock,
}

blank! { Group { from, until, skip, clock } }

impl Group {
    fn points(&self) -> core::ops::Range<usize> {
        self.from..self.until
    }
}

/// Groups neighbouring points by delay. Beyond [`GROUPS`] groups the last points share one delay.
fn group_by_delay<const POINTS: usize>(clock: SubBlockClock, delays: [usize; POINTS]) -> [Group; GROUPS] {
    let none = Group { from: POINTS, until: POINTS, skip: 0, clock };
    let mut groups = [none; GROUPS];
    groups[0] = Group { from: 0, until: POINTS, ..none };
    let mut last = 0;
    for k in 1..POINTS {
        if delays[k] != delays[k - 1] && last + 1 < GROUPS {
            groups[last].until = k;
            last += 1;
            groups[last] = Group { from: k, until: POINTS, skip: delays[k], ..none };
        }
    }
    groups
}

/// Points that share the filter of the previous point at the start, when all filters are clear: all but the first of
/// each group. A point stops sharing with the first frame that differs.
fn shared_at_start<const POINTS: usize>(groups: &[Group; GROUPS]) -> [bool; POINTS] {
    core::array::from_fn(|k| groups.iter().all(|group| group.from != k))
}

/// Calls `each` if a sub-block ended.
#[inline(always)]
fn report_sub_block<const C: usize>(done: SubBlock<C>, each: &mut impl FnMut(SubBlock<C>)) {
    if done.first.is_some() || done.last.is_some() {
        each(done);
    }
}

/// Mean squares of one complete gating block of 400 ms, at input and output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlockPair {
    /// At the input of the strip.
    pub input: f64,
    /// At the output of the strip, for the same audio.
    pub output: f64,
    /// True when the input passes the absolute gate.
    pub passes: bool,
}

/// Results at the end of a sub-block of 10 ms.
#[derive(Clone, Copy, Debug)]
pub struct SubBlock<const C: usize> {
    /// K-weighted energy per channel at the first point, when its sub-block is complete.
    pub first: Option<[f64; C]>,
    /// The same at the last point. Its sub-blocks start later by the latency.
    pub last: Option<[f64; C]>,
    /// Gating block that is complete at every point.
    pub block: Option<BlockPair>,
}

/// Loudness at `POINTS` points of a signal chain, over the blocks of 400 ms that pass the gates of ITU-R BS.1770 at the
/// first point.
///
/// An entry is the loudness at a point minus the loudness at the previous point, so the entries sum to the total of the
/// chain. All values are measured on K-weighted audio, never derived from settings. Points after a delay start their
/// blocks later by that delay, so that every point measures the same audio. A point that repeats the previous one costs
/// nothing. Tested by `ledger_entries_equal_the_gated_loudness_differences`.
#[derive(Clone, Debug)]
pub struct LevelLedger<const C: usize, const POINTS: usize> {
    filter: KWeighting,
    states: [KWeightingState<C>; POINTS],
    /// Neighbouring points with the same delay; the first group has none.
    groups: [Group; GROUPS],
    /// Points that share the filter of the previous point because their signals are equal.
    shared: [bool; POINTS],
    /// Points that have equalled the previous point throughout the last complete sub-block of the first point, and
    /// since.
    unchanged: [bool; POINTS],
    /// Points that have differed from the previous point in the current sub-block of the first point.
    changed: [bool; POINTS],
    running: [f64; POINTS],
    hops: [[f64; HOPS]; POINTS],
    sums: GatedSums<POINTS, BINS>,
}

blank! {
    [const C: usize, const POINTS: usize] LevelLedger<C, POINTS> {
        filter, states, groups, shared, unchanged, changed, running, hops, sums,
    }
}

impl<const C: usize, const POINTS: usize> LevelLedger<C, POINTS> {
    /// Creates a cleared ledger. Point `k` is delayed by `delays[k]` frames. The first delay is 0, the delays do not
    /// decrease, and the last one is below 100 ms. At most two different delays besides 0 are kept apart.
    #[must_use]
    pub fn new(rate: SampleRate, delays: [usize; POINTS]) -> Self {
        let groups = group_by_delay(SubBlockClock::new(rate), delays);
        Self {
            filter: KWeighting::new(rate),
            states: [KWeightingState::new(); POINTS],
            groups,
            shared: shared_at_start(&groups),
            unchanged: [false; POINTS],
            changed: [false; POINTS],
            running: [0.0; POINTS],
            hops: [[0.0; HOPS]; POINTS],
            sums: GatedSums::new(),
        }
    }

    /// Clears the ledger in place, for any sample rate, and sets new delays.
    pub fn restart(&mut self, rate: SampleRate, delays: [usize; POINTS]) {
        self.filter = KWeighting::new(rate);
        self.clear(SubBlockClock::new(rate), delays);
    }

    /// Clears the ledger and sets new delays.
    pub fn set_delays(&mut self, delays: [usize; POINTS]) {
        self.clear(self.groups[0].clock.restarted(), delays);
    }

    fn clear(&mut self, clock: SubBlockClock, delays: [usize; POINTS]) {
        self.states = [KWeightingState::new(); POINTS];
        self.groups = group_by_delay(clock, delays);
        self.shared = shared_at_start(&self.groups);
        (self.unchanged, self.changed) = ([false; POINTS], [false; POINTS]);
        self.running = [0.0; POINTS];
        self.hops = [[0.0; HOPS]; POINTS];
        self.sums.reset();
    }

    /// Group with the longest delay.
    fn latest(&self) -> usize {
        self.groups.iter().rposition(|group| group.from < POINTS).unwrap_or(0)
    }

    /// Frames until the end of the first point's sub-block.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.groups[0].clock.remaining()
    }

    /// Processes `n` frames (at most a chunk) at every point. Calls `each` at the end of every sub-block of the first
    /// or the last point. `changes[k]` is false when point `k` equals point `k - 1`.
    ///
    /// A point starts to differ at the first of these frames, but the frame at which it stops differing may depend on
    /// the block size. Filters therefore separate at once and rejoin only at sub-block boundaries, so that results do
    /// not depend on the block size.
    pub fn push(
        &mut self,
        points: &[[[f32; C]; CHUNK]; POINTS],
        n: usize,
        changes: &[bool; POINTS],
        mut each: impl FnMut(SubBlock<C>),
    ) {
        let n = n.min(CHUNK);
        // Most blocks do not cross the end of a sub-block: they get a loop of their own.
        let first = n.min(self.remaining());
        report_sub_block(self.push_until_sub_block(points, 0..first, changes), &mut each);
        if first < n {
            self.push_rest(points, first..n, changes, &mut each);
        }
    }

    #[cold]
    #[inline(never)]
    fn push_rest(
        &mut self,
        points: &[[[f32; C]; CHUNK]; POINTS],
        frames: core::ops::Range<usize>,
        changes: &[bool; POINTS],
        each: &mut impl FnMut(SubBlock<C>),
    ) {
        let mut at = frames.start;
        while at < frames.end {
            let until = frames.end.min(at + self.remaining());
            report_sub_block(self.push_until_sub_block(points, at..until, changes), each);
            at = until;
        }
    }

    /// Processes frames that do not extend beyond the first point's sub-block.
    #[inline(always)]
    fn push_until_sub_block(
        &mut self,
        points: &[[[f32; C]; CHUNK]; POINTS],
        frames: core::ops::Range<usize>,
        changes: &[bool; POINTS],
    ) -> SubBlock<C> {
        let n = frames.len();
        let mut done = SubBlock { first: None, last: None, block: None };
        for (k, &changes) in changes.iter().enumerate() {
            if changes {
                (self.shared[k], self.unchanged[k], self.changed[k]) = (false, false, true);
            }
        }
        // The groups with the longest delay first: they are still in the previous sub-block.
        let latest = self.latest();
        for g in (1..=latest).rev() {
            // Delayed points skip the frames from before the start, and so does the first point.
            let points_of = self.groups[g].points();
            let skipped = self.groups[g].skip.min(n);
            self.groups[g].skip -= skipped;
            let mut at = frames.start + skipped;
            while at < frames.end {
                let until = frames.end.min(at + self.groups[g].clock.remaining());
                self.accumulate(points, at..until, points_of.clone());
                if self.groups[g].clock.advance(until - at) {
                    self.end_group(g, latest, &mut done);
                }
                at = until;
            }
        }
        self.accumulate(points, frames, self.groups[0].points());
        if self.groups[0].clock.advance(n) {
            self.end_group(0, latest, &mut done);
            self.unchanged = self.changed.map(|changed| !changed);
            self.changed = [false; POINTS];
            self.share_filters(self.groups[0].points());
        }
        done
    }

    /// Ends the sub-block of a group.
    fn end_group(&mut self, group: usize, latest: usize, done: &mut SubBlock<C>) {
        let range = self.groups[group].points();
        let (ends, hop) = self.end_sub_block(range.clone(), self.groups[group].clock.index());
        if group == 0 {
            done.first = Some(ends[0]);
        } else {
            self.share_filters(range);
        }
        if group == latest {
            done.last = Some(ends[1]);
            if hop {
                done.block = self.end_block().or(done.block);
            }
        }
    }

    /// Lets unchanged points share the filter of the previous point, at the end of a sub-block.
    fn share_filters(&mut self, range: core::ops::Range<usize>) {
        for k in range.start + 1..range.end {
            self.shared[k] = self.unchanged[k];
            if self.shared[k] {
                self.states[k] = self.states[k - 1];
            }
        }
    }

    #[inline(always)]
    fn accumulate(
        &mut self,
        points: &[[[f32; C]; CHUNK]; POINTS],
        frames: core::ops::Range<usize>,
        range: core::ops::Range<usize>,
    ) {
        for k in range.clone().filter(|&k| !self.shared[k]) {
            let state = core::array::from_mut(&mut self.states[k]);
            k_weighting::accumulate(&self.filter, state, [&points[k][frames.clone()]]);
        }
        for k in (range.start + 1..range.end).filter(|&k| self.shared[k]) {
            self.states[k] = self.states[k - 1];
        }
    }

    /// Energies at the first and the last point of `range`, and whether a hop is complete.
    fn end_sub_block(&mut self, range: core::ops::Range<usize>, index: u64) -> ([[f64; C]; 2], bool) {
        let mut ends = [[0.0; C]; 2];
        let hop = index.is_multiple_of(PER_HOP);
        for k in range.clone() {
            let energies = self.states[k].take_energy(&self.filter);
            if k == range.start {
                ends[0] = energies;
            }
            ends[1] = energies;
            self.running[k] += energies.iter().sum::<f64>();
            if hop {
                self.hops[k].rotate_left(1);
                self.hops[k][HOPS - 1] = core::mem::take(&mut self.running[k]);
            }
        }
        (ends, hop)
    }

    fn end_block(&mut self) -> Option<BlockPair> {
        let clock = &self.groups[self.latest()].clock;
        let index = clock.index();
        let first = index.checked_sub(HOPS as u64 * PER_HOP)?;
        let frames = clock.frames_between(first, index) as f64;
        let means = self.hops.map(|hops| ((hops[0] + hops[1]) + (hops[2] + hops[3])) / frames);
        let passes = self.sums.push(means);
        Some(BlockPair { input: means[0], output: means[POINTS - 1], passes })
    }

    /// Loudness at every point over the gated blocks, LUFS; `None` before any block has passed.
    #[must_use]
    pub fn loudness(&self) -> Option<[f64; POINTS]> {
        self.sums.gated(RELATIVE_GATE).map(|gated| gated.mean.map(loudness))
    }
}
