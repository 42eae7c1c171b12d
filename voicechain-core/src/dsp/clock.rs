//! The clock of levels: sub-blocks of 10 ms, counted in samples since reset.

use crate::SampleRate;

/// Divides audio into sub-blocks of 10 ms; sub-block `k` ends at frame `round((k + 1) rate / 100)`, counted from reset.
///
/// The lengths differ by at most one frame where 10 ms is no whole number of frames (110 or 111 at 11 025 Hz) and never
/// drift. Whoever shares energies with a [`LoudnessMeter`](crate::meters::LoudnessMeter) follows the same clock.
///
/// Checked by `standards::loudness_properties::the_clock_does_not_drift`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SubBlockClock {
    rate: SampleRate,
    index: u64,
    length: u32,
    remaining: u32,
}

impl SubBlockClock {
    /// A clock at frame 0.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let mut clock = Self { rate, index: 0, length: 0, remaining: 0 };
        clock.begin();
        clock
    }

    /// A clock of the same rate at frame 0.
    #[must_use]
    pub fn restarted(&self) -> Self {
        Self::new(self.rate)
    }

    fn begin(&mut self) {
        self.length = self.frames_between(self.index, self.index + 1) as u32;
        self.remaining = self.length;
    }

    /// The number of complete sub-blocks since reset.
    #[must_use]
    pub fn index(&self) -> u64 {
        self.index
    }

    /// The frames of the running sub-block.
    #[must_use]
    pub fn length(&self) -> usize {
        self.length as usize
    }

    /// The frames that the running sub-block still lacks; at least 1.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.remaining as usize
    }

    /// Counts frames, at most [`remaining`](Self::remaining) of them; true when they complete the running sub-block.
    pub fn advance(&mut self, frames: usize) -> bool {
        self.remaining -= (frames as u32).min(self.remaining);
        if self.remaining > 0 {
            return false;
        }
        self.index += 1;
        self.begin();
        true
    }

    /// Cuts samples where sub-blocks end: calls `part` with every piece, and with the length of the sub-block that it completes.
    pub(crate) fn cut<'a>(&mut self, samples: &'a [f32], mut part: impl FnMut(&'a [f32], Option<f64>)) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.remaining().max(1)));
            rest = later;
            let length = self.length() as f64;
            part(now, self.advance(now.len()).then_some(length));
        }
    }

    /// The frames from the beginning of sub-block `from` to the beginning of sub-block `to`, which is not earlier.
    #[must_use]
    pub fn frames_between(&self, from: u64, to: u64) -> u64 {
        let at = |k: u64| libm::round(k as f64 * self.rate.hz() / 100.0) as u64;
        at(to).saturating_sub(at(from))
    }
}
