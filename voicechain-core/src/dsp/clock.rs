//! Level clock: sub-blocks of 10 ms, counted in samples since reset.

use crate::SampleRate;
use crate::blank::blank;

/// Clock that divides audio into sub-blocks of 10 ms. Sub-block `k` ends at frame `round((k + 1) rate / 100)`, counted
/// from reset.
///
/// Lengths differ by at most one frame where 10 ms is no whole number of frames (110 or 111 at 11 025 Hz), and never
/// drift. Code that passes energies to a [`LoudnessMeter`](crate::meters::LoudnessMeter) must follow the same clock.
///
/// Tested by `standards::loudness_properties::the_clock_does_not_drift`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SubBlockClock {
    rate: SampleRate,
    index: u64,
    length: u32,
    remaining: u32,
}

blank! { SubBlockClock { rate, index, length, remaining } }

impl SubBlockClock {
    /// Creates a clock at frame 0.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let mut clock = Self { rate, index: 0, length: 0, remaining: 0 };
        clock.begin();
        clock
    }

    /// Returns a clock of the same rate at frame 0.
    #[must_use]
    pub fn restarted(&self) -> Self {
        Self::new(self.rate)
    }

    fn begin(&mut self) {
        self.length = self.frames_between(self.index, self.index + 1) as u32;
        self.remaining = self.length;
    }

    /// Number of complete sub-blocks since reset.
    #[must_use]
    pub fn index(&self) -> u64 {
        self.index
    }

    /// Length of the current sub-block in frames.
    #[must_use]
    pub fn length(&self) -> usize {
        self.length as usize
    }

    /// Frames until the end of the current sub-block; at least 1.
    #[must_use]
    pub fn remaining(&self) -> usize {
        self.remaining as usize
    }

    /// Advances by `frames`, at most [`remaining`](Self::remaining). Returns true when the current sub-block is
    /// complete.
    pub fn advance(&mut self, frames: usize) -> bool {
        self.remaining -= (frames as u32).min(self.remaining);
        if self.remaining > 0 {
            return false;
        }
        self.index += 1;
        self.begin();
        true
    }

    /// Splits samples at the ends of sub-blocks. Calls `part` with every piece, and with the length of the sub-block
    /// that the piece completes.
    pub(crate) fn cut<'a>(&mut self, samples: &'a [f32], mut part: impl FnMut(&'a [f32], Option<f64>)) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.remaining().max(1)));
            rest = later;
            let length = self.length() as f64;
            part(now, self.advance(now.len()).then_some(length));
        }
    }

    /// Frames from the start of sub-block `from` to the start of sub-block `to`, which must not be earlier.
    #[must_use]
    pub fn frames_between(&self, from: u64, to: u64) -> u64 {
        let at = |k: u64| libm::round(k as f64 * self.rate.hz() / 100.0) as u64;
        at(to).saturating_sub(at(from))
    }
}
