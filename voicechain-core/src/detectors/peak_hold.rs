//! The largest of the last so many values, at the same small cost for every value.

/// Running maximum over a window of fixed length, in constant time per value.
///
/// The window is cut into two blocks of `B` values. While one block fills, the block before it is turned, one step per
/// value and from its end, into the maxima of its own remainders; when it has become the oldest block these are just
/// what is needed. Every [`push`](Self::push) therefore costs three comparisons, whatever the values are: no queue that
/// is emptied at once, no sort.
///
/// This is the block decomposition of van Herk (Pattern Recognition Letters 13, 1992) and of Gil and Werman (IEEE PAMI
/// 15, 1993), with the backward pass spread over the time in which the next block fills.
///
/// For a running minimum push the negated values. `N` is the longest block: windows reach up to `2 N` values, and the
/// storage is `3 N` values. Checked by `equals_the_maximum_found_by_search`.
#[derive(Clone, Debug)]
pub struct PeakHold<T, const N: usize> {
    /// The three blocks; which of them is the oldest is `oldest`, the others follow in turn.
    blocks: [[T; N]; 3],
    oldest: usize,
    /// Length of a block.
    length: usize,
    /// How many values the newest block has.
    filled: usize,
    /// Maximum of the newest block so far, and of the block before it.
    newest_max: T,
    middle_max: T,
    /// What an empty window holds.
    nothing: T,
}

impl<T: Copy + PartialOrd, const N: usize> PeakHold<T, N> {
    /// A window of `window` values, all of them `nothing`, which has to be no larger than anything that is pushed.
    ///
    /// An odd length is raised by one; lengths are kept within 2 and `2 N`.
    #[must_use]
    pub fn new(window: usize, nothing: T) -> Self {
        Self {
            blocks: [[nothing; N]; 3],
            oldest: 0,
            length: window.div_ceil(2).clamp(1, N),
            filled: 0,
            newest_max: nothing,
            middle_max: nothing,
            nothing,
        }
    }

    /// The number of values over which the maximum is taken, the newest included.
    #[must_use]
    pub fn window(&self) -> usize {
        2 * self.length
    }

    /// Takes the next value and gives the maximum of the window that ends with it.
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
            self.newest_max = self.nothing;
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
    fn equals_the_maximum_found_by_search() {
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
    fn forgets_a_peak_after_exactly_the_window() {
        let mut hold = PeakHold::<f32, 8>::new(10, 0.0);
        assert_eq!(hold.push(1.0), 1.0);
        for _ in 1..10 {
            assert_eq!(hold.push(0.0), 1.0);
        }
        assert_eq!(hold.push(0.0), 0.0);
    }

    #[test]
    fn keeps_lengths_within_its_storage() {
        assert_eq!(PeakHold::<f32, 8>::new(0, 0.0).window(), 2);
        assert_eq!(PeakHold::<f32, 8>::new(100, 0.0).window(), 16);
    }
}
