//! Gain reduction meter: median, percentiles and maximum from a histogram.

use crate::blank::blank;

/// Bins of 0.1 dB.
const PER_DB: f64 = 10.0;
/// The last bin counts [`GainReductionMeter::RANGE_DB`] and more.
const BINS: usize = 301;

/// Gain reduction of a dynamics stage over time, in fixed memory; resolution 0.1 dB.
///
/// Fed once per sub-block of 10 ms with the largest reduction in it; only sub-blocks with active speech count. Tested
/// by `percentiles_match_those_of_the_sorted_values`.
#[derive(Clone, Debug)]
pub struct GainReductionMeter {
    counts: [u32; BINS],
    total: u64,
    largest_db: f64,
    now_db: f64,
}

blank! { GainReductionMeter { counts, total, largest_db, now_db } }

impl Default for GainReductionMeter {
    fn default() -> Self {
        Self { counts: [0; BINS], total: 0, largest_db: 0.0, now_db: 0.0 }
    }
}

impl GainReductionMeter {
    /// Range of the percentiles, dB. A percentile of this value means this much or more. The maximum has no such limit.
    pub const RANGE_DB: f64 = (BINS - 1) as f64 / PER_DB;

    /// Adds a gain reduction in dB, 0 or more. `counts` is false in a pause: the value then updates only
    /// [`now_db`](Self::now_db).
    pub fn push(&mut self, reduction_db: f64, counts: bool) {
        self.now_db = reduction_db;
        if counts {
            let bin = ((reduction_db * PER_DB + 0.5) as usize).min(BINS - 1);
            self.counts[bin] = self.counts[bin].saturating_add(1);
            self.total += 1;
            self.largest_db = self.largest_db.max(reduction_db);
        }
    }

    /// Gain reduction in the last sub-block, dB.
    #[must_use]
    pub fn now_db(&self) -> f64 {
        self.now_db
    }

    /// Maximum counted gain reduction, dB.
    #[must_use]
    pub fn largest_db(&self) -> f64 {
        self.largest_db
    }

    /// Percentile of the counted gain reductions, dB, to 0.1 dB; [`RANGE_DB`](Self::RANGE_DB) stands for that much or
    /// more. `percent` is from 0 to 100; `None` before any value was counted. Tested by
    /// `a_percentile_at_the_end_of_the_range_means_that_much_or_more`.
    #[must_use]
    pub fn percentile_db(&self, percent: f64) -> Option<f64> {
        if self.total == 0 {
            return None;
        }
        let rank = (self.total as f64 * percent * 0.01).max(1.0);
        let mut seen = 0u64;
        for (bin, &count) in self.counts.iter().enumerate() {
            seen += u64::from(count);
            if seen as f64 >= rank {
                return Some((bin as f64 / PER_DB).min(self.largest_db));
            }
        }
        Some(self.largest_db)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    #[test]
    fn percentiles_match_those_of_the_sorted_values() {
        let mut meter = GainReductionMeter::default();
        assert_eq!(meter.percentile_db(50.0), None);
        let mut values: Vec<f64> = (0..997).map(|i| f64::from(i * 7_919 % 997) * 0.02).collect();
        for &v in &values {
            meter.push(v, true);
        }
        meter.push(29.0, false);
        values.sort_by(f64::total_cmp);
        for percent in [1.0, 50.0, 95.0, 100.0] {
            let expected = values[((values.len() as f64 * percent / 100.0).ceil() as usize).max(1) - 1];
            let read = meter.percentile_db(percent).unwrap();
            assert!((read - expected).abs() <= 0.051, "{percent}: {read} {expected}");
        }
        assert_eq!(meter.largest_db(), values[996]);
        assert_eq!(meter.now_db(), 29.0);
    }
    #[test]
    fn a_percentile_at_the_end_of_the_range_means_that_much_or_more() {
        let mut meter = GainReductionMeter::default();
        // Below the range every percentile is a value; 0.05 dB is half a bin.
        [29.0, 29.5, 29.9].into_iter().for_each(|db| meter.push(db, true));
        assert!((meter.percentile_db(95.0).unwrap() - 29.9).abs() <= 0.051);
        assert!(meter.percentile_db(95.0).unwrap() < GainReductionMeter::RANGE_DB);
        [31.0, 47.0, 63.0].into_iter().for_each(|db| meter.push(db, true));
        assert_eq!(meter.percentile_db(95.0), Some(GainReductionMeter::RANGE_DB));
        assert!(meter.percentile_db(40.0).unwrap() < GainReductionMeter::RANGE_DB);
        assert_eq!(meter.largest_db(), 63.0);
    }
}
