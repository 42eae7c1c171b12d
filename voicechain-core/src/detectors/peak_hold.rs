//! Sliding maximum at constant cost per value.

use crate::blank::{Blank, blank};

/// Sliding maximum over a window of fixed length, at constant cost per value.
///
/// The window consists of two blocks. While one block fills, the previous block is converted into its suffix maxima,
/// one step per value and from its end. When it has become the oldest block, these are exactly the maxima that are
/// needed. Every [`push`](Self::push) therefore costs three comparisons, whatever the values are: no queue that empties
/// at once, no sort.
///
/// This is the block decomposition of van Herk (Pattern Recognition Letters 13, 1992) and of Gil and Werman (IEEE PAMI
/// 15, 1993), with the backward pass spread over the time in which the next block fills.
///
/// Push negated values for a sliding minimum. `N` is the maximum block length: windows reach up to `2 N` values, and
/// the storage is `3 N` values. Tested by `sliding_maximum_matches_exhaustive_search`.
#[derive(Clone, Debug)]
pub struct PeakHold<T, const N: usize> {
    /// Three blocks in turn; `oldest` is the index of the oldest.
    blocks: [[T; N]; 3],
    oldest: usize,
    /// Block length.
    length: usize,
    /// Number of values in the newest block.
    filled: usize,
    /// Maximum of the newest block so far, and of the block before it.
    newest_max: T,
    middle_max: T,
    /// Initial value of the window.
    initial: T,
}

blank! { [T: Blank, const N: usize] PeakHold<T, N> { blocks, oldest, length, filled, newest_max, middle_max, initial } }

impl<T: Copy + PartialOrd, const N: usize> PeakHold<T, N> {
    /// Creates a window of `window` values, all of them `initial`, which must not exceed any value that is pushed.
    ///
    /// An odd length is raised by one. Lengths are limited to the range from 2 to `2 N`.
    #[must_use]
    pub fn new(window: usize, initial: T) -> Self {
        Self {
            blocks: [[initial; N]; 3],
            oldest: 0,
            length: window.div_ceil(2).clamp(1, N),
            filled: 0,
            newest_max: initial,
            middle_max: initial,
            initial,
        }
    }

    /// Window length in values, the newest included.
    #[must_use]
    pub fn window(&self) -> usize {
        2 * self.length
    }

    /// Adds a value and returns the maximum of the window that ends with it.
    #[inline]
    pub fn push(&mut self, value: T) -> T {
        let at = self.filled;
        let last = self.length - 1;
        let (oldest, middle, newest) = match self.oldest {
            0 => (0, 1, 2),
            1 => (1, 2, 0),
            _ => (2, 0, 1),
        };
        self.blocks[newest][at] = value;
        self.newest_max = larger(self.newest_max, value);
        if at > 0 {
            let step = last - at;
            self.blocks[middle][step] = larger(self.blocks[middle][step], self.blocks[middle][step + 1]);
        }
        let mut maximum = larger(self.newest_max, self.middle_max);
        if at < last {
            maximum = larger(maximum, self.blocks[oldest][at + 1]);
            self.filled = at + 1;
        } else {
            self.oldest = middle;
            self.middle_max = self.newest_max;
            self.newest_max = self.initial;
            self.filled = 0;
        }
        maximum
    }
}

#[inline(always)]
fn larger<T: PartialOrd>(a: T, b: T) -> T {
    if b > a { b } else { a }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::PeakHold;
    use std::vec::Vec;

    #[test]
    fn sliding_maximum_matches_exhaustive_search() {
        let mut seed = 1_u32;
        let values: Vec<u32> = (0..600)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                if seed >> 30 == 0 { seed >> 8 } else { seed >> 20 }
            })
            .collect();
        for window in [1, 2, 3, 4, 7, 10, 31, 32, 64] {
            let mut hold = PeakHold::<u32, 32>::new(window, 0);
            let length = hold.window();
            assert!(length >= window && length <= window + 1);
            for (n, &value) in values.iter().enumerate() {
                let expected = values[(n + 1).saturating_sub(length)..=n].iter().max();
                assert_eq!(Some(&hold.push(value)), expected, "window {length}, value {n}");
            }
        }
    }

    #[test]
    fn peak_is_held_for_exactly_the_window() {
        let mut hold = PeakHold::<f32, 8>::new(10, 0.0);
        assert_eq!(hold.push(1.0), 1.0);
        for _ in 1..10 {
            assert_eq!(hold.push(0.0), 1.0);
        }
        assert_eq!(hold.push(0.0), 0.0);
    }

    #[test]
    fn window_length_is_limited_to_the_storage() {
        assert_eq!(PeakHold::<f32, 8>::new(0, 0.0).window(), 2);
        assert_eq!(PeakHold::<f32, 8>::new(100, 0.0).window(), 16);
    }
}
