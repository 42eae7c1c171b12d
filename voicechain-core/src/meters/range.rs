//! Loudness range (EBU Tech 3342), in fixed memory for any duration.

use super::gating::{ABSOLUTE_GATE, MAX_LUFS, UsedBins, bin_position};
use crate::blank::{Blank, blank};
use crate::dsp::histogram::percentile_bin;

/// Bins of 0.04 LU from -70 to +10 LUFS.
const BINS: usize = 2_000;

/// Relative gate, LU (Tech 3342): values further below the mean do not count.
const RELATIVE_GATE: f64 = -20.0;

/// Histogram of short-term loudness values for the loudness range.
///
/// The range is the difference between the 95th and the 10th percentile (nearest rank) of the values that are above -70
/// LUFS and above their energy mean minus 20 LU. Error against sorting all values: at most 0.04 LU, provided that the
/// values around the percentiles are continuous. Memory 8 kB.
///
/// Tested by `standards::loudness::tech_3342_cases_1_to_4` and
/// `standards::loudness_properties::loudness_range_equals_that_of_sorted_values`.
#[derive(Clone, Debug)]
pub struct RangeHistogram {
    counts: [u32; BINS],
    used: UsedBins,
    total: f64,
    values: u64,
}

blank! { RangeHistogram { counts, used, total, values } }

impl Default for RangeHistogram {
    fn default() -> Self {
        Self::new()
    }
}

impl RangeHistogram {
    /// Creates an empty histogram.
    #[must_use]
    pub const fn new() -> Self {
        Self { counts: [0; BINS], used: UsedBins::BLANK, total: 0.0, values: 0 }
    }

    /// Removes all values. Cost: 4 bytes per bin of the range of the values.
    pub fn reset(&mut self) {
        self.used.clear(&mut self.counts);
        self.total = 0.0;
        self.values = 0;
    }

    /// Adds a short-term value as a weighted mean square. Cost: one logarithm.
    pub fn push(&mut self, mean_square: f64) {
        let place = bin_position(mean_square, BINS);
        if place > 0.0 && place < f64::INFINITY {
            let bin = (place as usize).min(BINS - 1);
            self.counts[bin] = self.counts[bin].saturating_add(1);
            self.used.add(bin);
            self.total += mean_square;
            self.values += 1;
        }
    }

    /// Loudness range, LU; `None` when no value passes the gates. Reads up to 4000 counts.
    #[must_use]
    pub fn range(&self) -> Option<f64> {
        if self.values == 0 {
            return None;
        }
        let gate = self.total / self.values as f64 * libm::exp10(RELATIVE_GATE / 10.0);
        let first = (libm::round(bin_position(gate, BINS)).max(0.0) as usize).min(BINS - 1);
        let passed: u64 = self.counts[first..].iter().map(|&count| u64::from(count)).sum();
        if passed == 0 {
            return None;
        }
        let level = |percent: f64| {
            let rank = libm::round((passed - 1) as f64 * percent / 100.0) as u64;
            let bin = percentile_bin(self.counts[first..].iter().map(|&count| f64::from(count)), (rank + 1) as f64);
            let bin = (first + bin.unwrap_or(0)) as f64 + 0.5;
            ABSOLUTE_GATE + bin * (MAX_LUFS - ABSOLUTE_GATE) / BINS as f64
        };
        Some(level(95.0) - level(10.0))
    }
}
