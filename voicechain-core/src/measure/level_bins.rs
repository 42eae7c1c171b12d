//! Sums grouped by level: the voice's level decides afterwards which of them count.

use crate::blank::blank;
use crate::detectors::voice_activity::P56_MARGIN_DB;

/// Lowest level, dB.
const BOTTOM_DB: f64 = -110.0;
/// Range up to the highest level, +10 dB.
const RANGE_DB: f64 = 120.0;

/// Sums of `N` values for each level bin from -110 to +10 dB: 60 bins of 2 dB, or 30 of 4 dB for large `N`. Memory `4
/// LEVELS (N + 1)` bytes. A sum of ones is exact up to 2^24: a day of 5 ms frames.
#[derive(Clone, Debug)]
pub(crate) struct LevelBins<const N: usize, const LEVELS: usize = 60> {
    sums: [[f32; N]; LEVELS],
    counts: [u32; LEVELS],
}

blank! { [const N: usize, const LEVELS: usize] LevelBins<N, LEVELS> { sums, counts } }

impl<const N: usize, const LEVELS: usize> LevelBins<N, LEVELS> {
    /// Width of a bin, dB.
    const STEP_DB: f64 = RANGE_DB / LEVELS as f64;

    pub(crate) const fn new() -> Self {
        Self { sums: [[0.0; N]; LEVELS], counts: [0; LEVELS] }
    }

    /// Sums of a level, to be added to; counts one more entry. NaN counts as the lowest level.
    pub(crate) fn at(&mut self, db: f64) -> &mut [f32; N] {
        let place = (((db - BOTTOM_DB) / Self::STEP_DB).max(0.0) as usize).min(LEVELS - 1);
        self.counts[place] = self.counts[place].saturating_add(1);
        &mut self.sums[place]
    }

    /// Sums and count of active speech: everything from the ITU-T P.56 margin below the active level up.
    pub(crate) fn speech(&self, active_level_dbov: f64) -> ([f64; N], f64) {
        self.from(active_level_dbov - P56_MARGIN_DB)
    }

    /// Sums and count at or above a level. The bin that contains the level counts by its share above it.
    pub(crate) fn from(&self, db: f64) -> ([f64; N], f64) {
        let (mut sums, mut total) = ([0.0; N], 0.0);
        for (place, (values, &count)) in self.sums.iter().zip(&self.counts).enumerate() {
            let above = place as f64 + 1.0 - (db - BOTTOM_DB) / Self::STEP_DB;
            let share = above.clamp(0.0, 1.0);
            for (sum, &value) in sums.iter_mut().zip(values) {
                *sum += share * f64::from(value);
            }
            total += share * f64::from(count);
        }
        (sums, total)
    }

    /// Sums and count of the quietest entries: everything up to `within_db` above the bin of the percentile `share` (0
    /// to 1).
    pub(crate) fn quietest(&self, share: f64, within_db: f64) -> ([f64; N], f64) {
        let wanted = share * self.counts.iter().map(|&count| f64::from(count)).sum::<f64>();
        let (mut below, mut last) = (0.0, 0);
        for (place, &count) in self.counts.iter().enumerate() {
            below += f64::from(count);
            last = place;
            if below > 0.0 && below >= wanted {
                break;
            }
        }
        let end = (last + (within_db / Self::STEP_DB) as usize).min(LEVELS - 1);
        let (mut sums, mut total) = ([0.0; N], 0.0);
        for (values, &count) in self.sums.iter().zip(&self.counts).take(end + 1) {
            for (sum, &value) in sums.iter_mut().zip(values) {
                *sum += f64::from(value);
            }
            total += f64::from(count);
        }
        (sums, total)
    }
}
